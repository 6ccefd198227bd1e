"""Every campaign: to import this registers them."""

import bags
import failing
import kills
import mail
import plans
import records
import servers
import sets
import weather_files

__all__ = ["bags", "failing", "kills", "mail", "plans", "records", "servers", "sets", "weather_files"]
