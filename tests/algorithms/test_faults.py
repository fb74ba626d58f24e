"""Every registered tool on a full disk, in a folder that may not be written, killed, and cancelled: nothing is lost.

``make proof`` does the same at many more places of each run.
"""
import hashlib

import faults
import jobs
import pytest
from athwart.algorithms import tool_classes

IDS = [tool.ID for tool in tool_classes()]


@pytest.fixture
def job(sample_jobs):
    """job(tool, folder) -> (parameters with outputs in that folder, {output: path})."""
    def call(tool, folder):
        parameters, endings = sample_jobs.known[tool]
        made = {name: folder / f"{name}.{ending}" for name, ending in endings.items()}
        return {**parameters, **{name: str(path) for name, path in made.items()}}, made
    return call


def test_every_registered_tool_has_a_job(provider, sample_jobs):
    destinations = {tool.name(): {d.name() for d in tool.destinationParameterDefinitions()}
                    for tool in provider.algorithms() if tool.name() in IDS}
    assert {tool: set(endings) for tool, (_, endings) in sample_jobs.known.items()} == destinations


@pytest.mark.parametrize("tool", IDS)
def test_a_full_disk_is_named_and_leaves_the_earlier_output(run, job, sample_jobs, tmp_path, tool):
    if not faults.may_mount():
        pytest.skip("a small disk can be mounted by root on Linux only")
    made = sample_jobs.whole(tool).made
    assert all(jobs.is_whole(path) for path in made.values())
    sizes = [path.stat().st_size for path in made.values()]
    with faults.small_disk(tmp_path / "disk", len(sizes) * 4 + sum(sizes) // 2 // 1024) as disk:
        parameters, made = job(tool, disk)
        for name, path in made.items():
            path.write_text(f"earlier {name}")
        before = faults.state(disk)
        words = faults.said(run, tool, parameters)
        assert words.startswith(f"The disk is full: {disk} has no room for "), words
        assert faults.state(disk) == before


@pytest.mark.parametrize("tool", IDS)
def test_a_folder_that_may_not_be_written_is_named(run, job, tmp_path, tool):
    import contextlib
    import os
    with contextlib.ExitStack() as stack:
        if faults.may_mount():
            folder = stack.enter_context(faults.small_disk(tmp_path / "disk", 400))
        elif hasattr(os, "geteuid") and os.geteuid() == 0:
            pytest.skip("root may write everywhere, and no disk can be mounted here")
        else:
            folder = tmp_path / "disk"
            folder.mkdir()
        parameters, made = job(tool, folder)
        stack.enter_context(faults.read_only(folder))
        assert f"folder {folder}, which may not be written" in faults.said(run, tool, parameters)


@pytest.mark.parametrize("tool", IDS)
def test_a_kill_in_the_middle_or_at_the_end_leaves_the_earlier_output(run, job, sample_jobs, tmp_path, tool):
    parameters, made = job(tool, tmp_path)
    before = lay_ready(made)
    for at in faults.moments(sample_jobs.whole(tool).steps, 3)[1:]:
        assert faults.killed(run, tool, parameters, at)
        assert {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in made.values()} == before
    run(tool, parameters)
    assert all(jobs.is_whole(path) for path in made.values())


@pytest.mark.parametrize("tool", IDS)
def test_the_bar_moves_and_never_back_and_a_cancel_ends_the_run_where_it_is_heard(run, job, sample_jobs, tmp_path,
                                                                                  tool):
    """A cancel at five places of the bar: nothing more is asked, the bar stays where it was, earlier outputs stay."""
    steps = sample_jobs.whole(tool).steps
    assert steps == sorted(steps) and steps[-1] == 100
    assert len({step for step in steps if 0 < step < 100}) >= 2, steps
    parameters, made = job(tool, tmp_path)
    lay_ready(made)
    before = faults.state(tmp_path)
    for at in faults.moments(steps, 5):
        hasty = faults.Heard(at)
        assert "Stopped at your request; no output was written" in faults.said(run, tool, parameters, hasty)
        assert hasty.late == 1 and max(hasty.steps, default=0) <= at + 5
        assert faults.state(tmp_path) == before


def lay_ready(made):
    """An earlier result in the place of every output; the digest of each."""
    for name, path in made.items():
        path.write_text(f"earlier {name}")
    return {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in made.values()}
