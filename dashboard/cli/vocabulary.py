"""The words that stand in tables rather than in sentences, for the catalogue."""

from __future__ import annotations

from collections.abc import Iterator

from evenfoot.analytics.domain.feet import CLAW_NAMES, FOOT_NAMES, ZONES
from evenfoot.analytics.domain.housing import FLOORS, HOUSINGS
from evenfoot.analytics.domain.lesions import DD_STAGES, LESIONS
from evenfoot.analytics.domain.locomotion import SCALES
from evenfoot.analytics.domain.seasons import SEASONS
from evenfoot.analytics.domain.visits import ACTIONS, VISIT_KINDS
from evenfoot.analytics.intake.fields import KIND_NAMES, KINDS
from evenfoot.analytics.measures.horn.horn_state import UNITS
from evenfoot.analytics.measures.lameness.monthly_chart import SIDES
from evenfoot.dashboard.charts import labels
from evenfoot.dashboard.charts.headings import COLUMNS
from evenfoot.dashboard.charts.lengths import INCHES
from evenfoot.dashboard.charts.theme import PLURAL
from evenfoot.dashboard.report.workbook import FORMATS

MODEL_WORDS = ("weeks on grass", "sound", "unweighted", "quadratic")
"""Values of tables of the measures that stand in no table of words."""


def vocabulary() -> Iterator[tuple[str, str]]:
    """Where a word stands, and the word."""
    # Their Spanish names are what hoof trimmers and veterinarians commonly say [from memory].
    for lesion in LESIONS.values():
        yield "analytics/domain/lesions.py", lesion.name
    for words in DD_STAGES.values():
        yield "analytics/domain/lesions.py", words
    for scale in SCALES.values():
        for words in scale.words.values():
            yield "analytics/domain/locomotion.py", words
    for table in (FOOT_NAMES, CLAW_NAMES):
        for name in table.values():
            yield "analytics/domain/feet.py", name
    for name in CLAW_NAMES.values():
        yield "analytics/domain/feet.py", f"{name} claw"
    for zone in ZONES.values():
        yield "analytics/domain/feet.py", zone.name
    for table in (HOUSINGS, FLOORS, VISIT_KINDS):
        for code, name in table.items():
            yield "analytics/domain", code
            yield "analytics/domain", name
    for season in SEASONS:
        yield "analytics/domain/seasons.py", season
        for housing in HOUSINGS:
            # How a comparison names a group of two kinds at once.
            yield "analytics/measures/lesions/comparison.py", f"{housing} in {season}"
    for words in SIDES.values():
        yield "analytics/measures/lameness/monthly_chart.py", words
    for kind in KINDS.values():
        for field in kind:
            if field.required:
                yield "analytics/intake/fields.py", field.name.replace("_", " ")
                yield "analytics/intake/fields.py", field.what
    for kind_name in KIND_NAMES.values():
        yield "analytics/intake/fields.py", kind_name
    for word in MODEL_WORDS:
        yield "analytics/measures", word
    for sort in FORMATS:
        yield "dashboard/report/columns.py", sort
    for unit in UNITS.values():
        yield "analytics/measures/horn/horn_state.py", unit
    for heading in INCHES.values():
        yield "dashboard/charts/lengths.py", heading
    for heading in COLUMNS.values():
        yield "dashboard/charts/headings.py", heading
    for one, many in PLURAL.items():
        yield "dashboard/charts/theme.py", one
        yield "dashboard/charts/theme.py", many
    tables = (
        labels.LIMBS,
        labels.FAMILIES,
        labels.HOUSINGS,
        labels.WETNESS,
        labels.VISIT_KINDS,
        ACTIONS,
        labels.WHATS,
    )
    for named in tables:
        for word in named.values():
            yield "dashboard/charts/labels.py", word
