"""How lesions are said in the ICAR Animal Data Exchange (ADE), release 1.3, an open standard.

Names of resources, positions, stages and severities are the standard's [pub: ICAR Animal Data Exchange working
group, schemas of release 1.3]. Identifiers of schemes that nobody has registered are ours and say so ("local").
"""

from __future__ import annotations

import re

RESOURCE = "DiagnosisEvent"
"""Short name of the resource type in the standard's catalogue."""

RESOURCE_NAMES = (
    RESOURCE,
    f"icar:{RESOURCE}",
    f"http://data.adewg.icar.org/core/{RESOURCE}",
    f"icar{RESOURCE}Resource",
)

POSITIONS: dict[str, str] = {
    "LF": "LegsFrontLeft",
    "RF": "LegsFrontRight",
    "LH": "LegsRearLeft",
    "RH": "LegsRearRight",
}
SEVERITIES: dict[int, str] = {1: "Light", 2: "Moderate", 3: "Severe"}

STAGES: dict[str, str] = {"M1": "Early", "M2": "Acute", "M4": "Chronic", "M4.1": "AcuteOnChronic"}
"""Stages of digital dermatitis that have a like in the standard [common practice, no source]; all of them are also
written out in the description."""

LESION_SCHEME = "local.icar-claw-health-atlas"
OTHER_LESION_SCHEME = "local.evenfoot-lesion"
"""Scheme of the code ``other``, which the atlas does not hold."""
FARM_SCHEME = "local.farm"
ANIMAL_SCHEME = "local.farm-animal"
SOURCE = "local.evenfoot"

_SITE_CLAW = re.compile(r"\b(lateral|medial|outer|inner)\b", re.IGNORECASE)
_SITE_ZONE = re.compile(r"\bzone\s*(\d{1,2})\b", re.IGNORECASE)


def site_of(claw: str | None, zone: int | None) -> str | None:
    """Claw and zone as the site of a diagnosis.

    Examples
    --------
    >>> site_of("lateral", 4), site_of(None, 10), site_of(None, None)
    ('lateral claw, zone 4', 'zone 10', None)
    """
    parts = [f"{claw} claw"] if claw else []
    parts += [f"zone {zone}"] if zone is not None else []
    return ", ".join(parts) or None


def read_site(site: str) -> tuple[str | None, str | None]:
    """Claw and zone named in a site, as they were written.

    Examples
    --------
    >>> read_site("lateral claw, zone 4"), read_site("Outer"), read_site("hoof")
    (('lateral', '4'), ('Outer', None), (None, None))
    """
    claw, zone = _SITE_CLAW.search(site), _SITE_ZONE.search(site)
    return (claw[1] if claw else None), (zone[1] if zone else None)
