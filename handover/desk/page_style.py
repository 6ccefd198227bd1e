"""The style of the desk as files: that of the care page, with its fonts and icons by address."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.documents.fonts import FAMILY
from handover.documents.icons import ICON_NAMES, icon_uri
from handover.documents.svg import INKS
from handover.documents.templating import read_text

if TYPE_CHECKING:
    from collections.abc import Mapping

FONT_WEIGHTS = {"regular": 400, "bold": 700}


def page_style(fonts: Mapping[str, str]) -> str:
    """Return the style of the care page, with the colours of its charts.

    Args:
        fonts: The addresses of the fonts, "regular" and "bold".
    """
    faces = "".join(
        f'@font-face{{font-family:"{FAMILY}";font-weight:{FONT_WEIGHTS[name]};font-display:swap;'
        f'src:url("{address}") format("woff")}}'
        for name, address in fonts.items()
    )
    inks = "".join(
        f".chart .f-{name}{{fill:var(--{name},{ink})}}.chart .s-{name}{{stroke:var(--{name},{ink})}}"
        for name, ink in INKS.items()
    )
    return f"{faces}\n{read_text('style/page.css')}\n{inks}\n{read_text('style/own.css')}"


def icon_style() -> str:
    """Return the style of the icons."""
    return "".join(
        f'.i-{name}{{-webkit-mask-image:url("{uri}");mask-image:url("{uri}")}}'
        for name, uri in ((each, icon_uri(each)) for each in ICON_NAMES)
    )
