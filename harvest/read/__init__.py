"""Files to checked layers: foreign names are mapped once, here, at the door."""
