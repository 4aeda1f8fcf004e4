"""The sentences of a report, composed from the kinds and values of an assessment."""
