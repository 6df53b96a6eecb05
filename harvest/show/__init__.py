"""Everything that a person opens, made from the result folder and nothing else."""
