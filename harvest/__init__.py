"""What rain a town's roofs could catch: parcels ranked, mapped and explained from open data."""

__version__ = "0.1.0"
