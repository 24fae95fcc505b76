"""Screenshots of every view of the bench: laptop and phone, light and dark.

    python -m benchmarks.bench_screens OUT [NAME …]

Writes OUT/NAME-laptop-light.png and so on, and prints what the page weighs. Drum and
numbers in the pictures are invented.
"""

import sys
import tempfile
from pathlib import Path

from tests.bench_browser import ALLOW, LAPTOP, PHONE, chromium
from tests.bench_tour import VIEWS, room_file, visit


def main(out: Path, names: list[str]) -> None:
    """Draw the views that are named, or all."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        for theme in ("light", "dark"):
            with chromium(*ALLOW, sound=room_file(folder)) as browser:
                for size_name, size in (("laptop", LAPTOP), ("phone", PHONE)):
                    for view in VIEWS:
                        if names and view.name not in names:
                            continue
                        page, server = visit(
                            view,
                            browser,
                            folder / f"{view.name}-{size_name}-{theme}",
                            size=size,
                            color_scheme=theme,
                        )
                        name = out / f"{view.name}-{size_name}-{theme}.png"
                        page.screenshot(path=name, full_page=True)
                        print(name)
                        page.context.close()
                        server.stop()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
