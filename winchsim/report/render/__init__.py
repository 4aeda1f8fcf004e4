"""Renderers of a `winchsim.report.document.Document`: text for a terminal, HTML and Markdown."""
