"""Write the targets as a plain text to read out over the radio."""

from pathlib import Path
from typing import Any


class TargetListRenderer:
    """One line per target."""

    name = "target_list"
    summary = "targets as plain text, one line each"
    formats = ("txt",)
    reads_folder = False

    def render(self, bundle: Any, folder: Path, *, decimals: int = 0) -> list[Path]:
        """Write the list.

        Parameters
        ----------
        bundle : Bundle
            Records of a run.
        folder : Path
            Result folder.
        decimals : int, default 0
            Of the coordinates.
        """
        lines = [
            f"{row.rank}. {row.target}: {row.easting:.{decimals}f} E {row.northing:.{decimals}f} N"
            for row in bundle.targets.targets.itertuples()
        ]
        path = Path(folder) / "target_list.txt"
        path.write_text("\n".join(lines or ["no targets"]) + "\n", encoding="utf-8")
        return [path]
