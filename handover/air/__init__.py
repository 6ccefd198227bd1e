"""Moist air: what weather, the slab and the schedule know of water vapour."""
