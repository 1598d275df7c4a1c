"""Plan how a metal-clay zone and a ceramic zone of one vessel survive one shared firing."""

__version__ = "0.1.0"
