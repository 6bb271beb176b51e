"""Coverage-guided fuzzing of the readers, for as long as it is told to; not part of the tests.

    pip install atheris
    python tests/fuzz/coverage_guided.py gpx 120        # reader and seconds
    python tests/fuzz/coverage_guided.py all 60         # each reader for a minute
"""

from __future__ import annotations

import importlib.util
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))


def one(kind, seconds):
    """Fuzz one reader in this process; the engine ends it."""
    import atheris

    with atheris.instrument_imports(include=["optimizer", "csv", "tomllib"]):
        from tests.fuzz.readers import SEEDS, feed

    corpus = Path(tempfile.mkdtemp(prefix="fuzz-"))
    for number, seed in enumerate(SEEDS[kind]):
        (corpus / f"seed{number}").write_bytes(seed)
    atheris.Setup([sys.argv[0], str(corpus), f"-max_total_time={seconds}", "-max_len=4096",
                   "-timeout=20", "-rss_limit_mb=2048", f"-artifact_prefix={corpus}/",
                   "-print_final_stats=1"], lambda data: feed(kind, data))
    atheris.Fuzz()


def main():
    """Fuzz the reader that is named, or all of them one after the other."""
    if importlib.util.find_spec("atheris") is None:
        sys.exit("nothing was tried: atheris, the engine, is not installed; pip install atheris")
    kind, seconds = sys.argv[1], int(sys.argv[2])
    if kind != "all":
        one(kind, seconds)
        return
    from tests.fuzz.readers import READERS

    failed = [name for name in READERS
              if subprocess.run([sys.executable, __file__, name, str(seconds)],
                                check=False).returncode]
    sys.exit(f"broken: {', '.join(failed)}" if failed else 0)


if __name__ == "__main__":
    main()
