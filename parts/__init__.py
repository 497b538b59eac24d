"""Parts of a liquid-cooled PC: the vocabulary, the families and the catalogue of generic sizes.

`family_class` and `catalogue` load one family or one size at a time, so that importing this package stays light.
Nothing here knows of builds, checks or files: that is `elbowroom.model`.
"""

from elbowroom.parts.families import FAMILIES, family_class

__all__ = ["FAMILIES", "family_class"]
