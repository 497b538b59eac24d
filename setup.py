"""What pyproject.toml cannot say: a wheel is built from the sources alone.

The build tool copies modules into `build/` and packs that folder, so that one left over from an earlier build would put
modules into the wheel that were deleted since.
"""

import shutil

from setuptools import setup
from setuptools.command.build_py import build_py


class Afresh(build_py):
    """Copies the modules into a folder that holds nothing else."""

    def run(self) -> None:
        if not self.editable_mode:
            shutil.rmtree(self.build_lib, ignore_errors=True)
        super().run()


setup(cmdclass={"build_py": Afresh})
