"""The only writers of reports. Importing this package enlists its acts."""

from reports.actions import certificates, fetches, notices, rule_sets

__all__ = ["certificates", "fetches", "notices", "rule_sets"]
