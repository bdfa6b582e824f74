"""A file becomes records: read, match headings, check, and set aside with a reason what cannot be right."""

from analytics.intake.checking import check_file
from analytics.intake.setting_aside import write_set_aside
from analytics.intake.sheet import CheckedSheet

__all__ = ["CheckedSheet", "check_file", "write_set_aside"]
