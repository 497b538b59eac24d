"""Solids and their questions: drawing parts, meshes of known error, whether two bodies meet, what room is free."""
