"""One tool run by qgis_process, as a user of the command line would."""
from __future__ import annotations

import json
import pathlib
import subprocess

ROOT = pathlib.Path(__file__).resolve().parents[2]
QP = ROOT / "tools" / "qp.sh"


class StepFailed(Exception):
    """A tool refused or failed; the message is its own."""


def table(database, name, geometry=True):
    """Destination text of a layer in a GeoPackage."""
    path = str(database).replace("\\", "\\\\").replace("'", "\\'")
    return f"ogr:dbname='{path}' table=\"{name}\"" + (" (geom)" if geometry else "")


def layer(database, name):
    """Source text of a layer in a GeoPackage."""
    return f"{database}|layername={name}"


def run(tool, **parameters):
    """Run a tool and return its results.

    Parameters
    ----------
    tool : str
        Id with provider, such as 'athwart:readlogs'.
    **parameters
        By name; a list is passed as one argument for each item.

    Raises
    ------
    StepFailed
        With what the tool said.
    """
    arguments = [f"{name}={item}" for name, value in parameters.items()
                 for item in (value if isinstance(value, list) else [value])]
    done = subprocess.run(["bash", str(QP), "--json", "run", tool, "--", *arguments], capture_output=True, text=True,
                          check=False)
    if done.returncode or not done.stdout.strip():
        said = list(dict.fromkeys(line.strip() for line in done.stderr.splitlines() if line.strip()))
        raise StepFailed(f"{tool}: " + "\n".join(said[-12:] or ["no answer"]))
    return json.loads(done.stdout)["results"]
