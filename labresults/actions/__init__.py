"""The only writers. Importing this package enlists every act of labresults."""

from labresults.actions import evaluation, materials, methods, people, preparation, review, runs, samples

__all__ = ["evaluation", "materials", "methods", "people", "preparation", "review", "runs", "samples"]
