"""Paths of a district's tables: workers start in folders of their own, and may not see those of the one who asks."""
import pathlib

import pytest
from athwart.survey.district.district import survey_district
from athwart.survey.model.errors import InputError


class Far:
    """Workers that cannot read any file."""

    name = "far workers"

    def __init__(self):
        self.files = []

    def work(self, jobs, report, more):
        for job in jobs:
            path = job.arguments[0].files[0]
            self.files.append(path)
            report(job, None, InputError(f"{path} cannot be read (No such file or directory). Check that it exists."))
            more()


@pytest.fixture()
def failures(tmp_path, monkeypatch):
    """(paths that workers were given, what failed) of tables named as a person in their folder names them."""
    (tmp_path / "lakes.csv").write_text("lake;crs;area\nMill Pond;EPSG:32619;POLYGON((0 0, 90 0, 90 90, 0 90, 0 0))\n")
    (tmp_path / "outings.csv").write_text("outing,lake,logs,unit\nhere,Mill Pond,a.nmea,m\nlost,Mill Pond,b.nmea,m\n")
    (tmp_path / "a.nmea").write_text("")
    monkeypatch.chdir(tmp_path)
    far = Far()
    made = survey_district("outings.csv", "lakes.csv", "season", engine=far, layers=False)
    return far.files, {one.outing: one.remedy for one in made.failures}


def test_workers_get_whole_paths(failures):
    assert all(pathlib.Path(path).is_absolute() for path in failures[0]) and len(failures[0]) == 2


def test_a_file_that_is_here_and_not_there_is_told_from_one_that_is_nowhere(failures):
    assert "same folder" in failures[1]["here"] and "send" in failures[1]["here"]
    assert failures[1]["lost"] == "Check that it exists."
