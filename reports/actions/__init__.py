"""The only writers of reports. Importing this package enlists its acts."""

from reports.actions import certificates

__all__ = ["certificates"]
