"""An address as a code that a phone scans."""
