"""castcut: a drawing of a cast-acrylic panel becomes a proven RS-274 program."""

__version__ = "0.1.0"
