"""Geometry: plan area, which parcel a roof belongs to, rain on a roof."""
