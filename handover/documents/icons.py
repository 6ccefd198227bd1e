"""Our own small pictures, drawn on a square of 24 units with one width of line."""

from __future__ import annotations

from urllib.parse import quote

ICONS = {
    # A drop.
    "water": "M12 2.5C9 7 5.5 10.6 5.5 15a6.5 6.5 0 0 0 13 0C18.5 10.6 15 7 12 2.500ZM9 15.500a3 3 0 0 0 2.6 2.8",
    # The print of a shoe.
    "foot": "M8.5 2.500c3 0 4 2.5 3.8 5.5-.2 2.2-.8 3.6-.8 5.300H5.800c-.3-2-1.3-4-1.3-6.300C4.5 4.3 6.2 2.5 8.5 2.500Z"
    "M6 15.500h5.500c0 2-.6 4-2.7 4S6 17.5 6 15.500ZM16 9.500c2 0 3.5 1.5 3.5 3.8 0 1.7-.7 3-1 4.400h-4.3",
    # A ladder.
    "work": "M7 2.500v19M17 2.500v19M7 6.500h10M7 11.500h10M7 16.500h10",
    # A car from the side.
    "car": "M2.5 16.500v-3.800l3-1.2 2.8-4.500h7l3.2 4.5 3 1.300v3.700h-2.500M14.5 16.500h-5M4.5 16.500h-2"
    "M4.5 17a2.5 2.5 0 1 0 5 0 2.5 2.5 0 1 0-5 0M14.5 17a2.5 2.5 0 1 0 5 0 2.5 2.5 0 1 0-5 0M11.5 7v4.5",
    # A loaded truck from the side.
    "truck": "M2 16.500V5.500h11.500v11H9M14 16.500v-8h4l4 4.500v3.500h-1.500M4.5 16.500H2"
    "M4.5 17a2.3 2.3 0 1 0 4.6 0 2.3 2.3 0 1 0-4.6 0M15.7 17a2.3 2.3 0 1 0 4.6 0 2.3 2.3 0 1 0-4.6 0",
    # A crystal of ice.
    "frost": "M12 2v20M3.3 7l17.4 10M20.7 7L3.3 17M9.5 3.500L12 6l2.5-2.500M9.5 20.500L12 18l2.5 2.5"
    "M3.5 10.500L7 9.5 6 6M20.5 13.500L17 14.500l1 3.500M20.5 10.500L17 9.5 18 6M3.5 13.500L7 14.5 6 18",
    # A blade in a slab.
    "saw": "M2 15.500h20M7 15.500a5.5 5.5 0 1 1 10 0M12 4.500V7M5.5 8l2 1.500M18.5 8l-2 1.500M12 15.500v6",
    # A board against the edge.
    "board": "M2.5 8.500h12v9h-12zM17 5v15M20.5 5v15M17 5h3.500M17 20h3.5",
    # A finished box: the end of curing.
    "end": "M4 12.500l5.5 6L20.5 5.5",
    # A roller.
    "roller": "M3 4h14v5H3zM17 6.500h3.500v5H11.500v3M10 14.500h3v7h-3z",
    # Laid tiles.
    "tile": "M3 3h18v18H3zM12 3v18M3 12h18",
    # A shaker.
    "salt": "M8 8.500h8l1.5 13h-11zM8 8.500c0-3 1.5-5.5 4-5.500s4 2.5 4 5.500M10.5 5.500h.1M13.5 5.500h.1M12 12.500h.1M11 16.500h.1M13.5 15h.1",
    # A glove.
    "glove": "M7 21.500v-5l-3-5c-.7-1.3.9-2.3 1.8-1.200L8 13V5c0-1.6 2.3-1.6 2.3 0v5.500V3.500c0-1.6 2.3-1.6 2.3 0v7V4.5"
    "c0-1.6 2.3-1.6 2.3 0v6.500V7c0-1.5 2.2-1.5 2.2 0v8.500c0 1.5-.6 2.5-.6 3.500v2.500z",
    # A mask.
    "mask": "M4 9.500c3-2.5 13-2.5 16 0v5c-2 4-5 5-8 5s-6-1-8-5zM4 10.500H1.500M20 10.500h2.500M8 12.500h8M8.5 15.500h7",
    # A foot that slips.
    "slip": "M13 4.500a1.7 1.7 0 1 0 .1 0M12 8.500l-5 2M12 8.500l2 5-5 2.5-3 4M14 13.500l5 2 2 4M12 8.500l4.5 1.5 3-2.500M2 21.500h20",
    # A plug.
    "plug": "M9 2.500v5M15 2.500v5M6 7.500h12v4a6 6 0 0 1-12 0zM12 17.500v4",
    # A flame.
    "flame": "M12 2.500c1 4 5.5 6 5.5 11.500a5.5 5.5 0 0 1-11 0c0-3 2-4 2.5-6.5 1.5 1 2 2.5 2 3.5 1.5-2 2-5 1-8.500Z",
    # A nail through a board.
    "nail": "M8 2.500h8M12 2.500v19M2.5 9.500h19v5h-19zM10.5 19l1.5 2.5 1.5-2.5",
    # A child and a paw.
    "child": "M7 3.500a2 2 0 1 0 .1 0M7 9v6.500M3 11.500h8M7 15.500l-2.5 6M7 15.500l2.5 6M17.5 14c2 0 3.5 2 3.5 4s-7 2-7 0 1.5-4 3.5-4Z"
    "M14 11.500v1M16.5 9.500v1.500M19 9.500v1.500M21.5 11.500v1",
    # A sun.
    "sun": "M12 7.500a4.5 4.5 0 1 0 .1 0M12 1.500v3M12 19.500v3M1.5 12h3M19.5 12h3M4.5 4.500l2 2M17.5 17.500l2 2M19.5 4.500l-2 2M4.5 19.500l2-2",
    # A cloud with rain.
    "rain": "M7 14.500a4.5 4.5 0 0 1 .5-9 5.5 5.5 0 0 1 10.5 2 3.5 3.5 0 0 1 0 7zM8 17.500l-1 4M12.5 17.500l-1 4M17 17.500l-1 4",
    # A telephone.
    "phone": "M6.5 2.500l3.5 0 1.5 5-2.3 1.700a13 13 0 0 0 5.6 5.600l1.7-2.3 5 1.500v3.500c0 2-1.5 4-4 4C10 21.5 2.5 14 2.5 6.500c0-2.5 2-4 4-4Z",
    # Mind this.
    "mind": "M12 3L1.8 20.500h20.400zM12 9.500v5.500M12 17.700h.1",
}

OF_KIND = {
    "first-water": "water",
    "saw-joints": "saw",
    "strip-edge-forms": "board",
    "foot-traffic": "foot",
    "light-work": "work",
    "light-vehicles": "car",
    "heavy-vehicles": "truck",
    "frost-safe": "frost",
    "curing-ends": "end",
    "seal": "roller",
    "floor-covering": "tile",
    "deicing-salt": "salt",
    "initial-set": "board",
    "final-set": "board",
}
"""The picture of each date."""

OF_CAUTION = {
    "caustic": "glove",
    "silica": "mask",
    "slips": "slip",
    "electricity": "plug",
    "heaters": "flame",
    "nails": "nail",
    "children-animals": "child",
    "frost": "frost",
    "cold-weather": "frost",
    "hot-discharge": "sun",
    "drying": "sun",
    "curing-water": "water",
    "wet-dry": "water",
    "rain-on-fresh": "rain",
    "heavy-trucks": "truck",
    "saw-in-stages": "saw",
}
"""The picture of a caution; any other gets the plain warning sign."""


def icon_uri(name: str, ink: str = "#000") -> str:
    """Return a picture as a data address for a style sheet."""
    picture = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 24 24" width="24" height="24"><path d="{ICONS[name]}" '
        f'fill="none" stroke="{ink}" stroke-width="1.9" stroke-linecap="round" stroke-linejoin="round"/></svg>'
    )
    return "data:image/svg+xml," + quote(picture, safe="/ =:'")
