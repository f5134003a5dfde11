"""The journal of a piece: every step is kept, can be undone, and survives a torn end."""

from __future__ import annotations

import json
import zlib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from converter.errors import PictureError, UsageError
from converter.jobs.history import History, StaleRevision, apply_patch, decode_record, encode_record, start_journal

KEYS = st.sampled_from(["a", "b", "c", "d"])
VALUES = st.one_of(st.integers(-5, 5), st.text(max_size=4), st.booleans(), st.lists(st.integers(), max_size=2))
LEAVES = st.dictionaries(KEYS, VALUES, max_size=3)
STATES = st.dictionaries(KEYS, st.dictionaries(KEYS, LEAVES, max_size=3), max_size=3)
GROUPS = st.fixed_dictionaries(
    {"at": st.lists(KEYS, min_size=2, max_size=2), "set": LEAVES, "drop": st.lists(KEYS, max_size=2)}
)
PATCHES = st.lists(GROUPS, min_size=1, max_size=4)


def begin(tmp_path, state=None):
    path = tmp_path / "journal.jsonl"
    start_journal(path, {"settings": {}} if state is None else state)
    return History(path)


@given(STATES, PATCHES)
def test_patch_and_its_back_patch_leave_the_state_as_it_was(state, patch):
    before = json.dumps(state, sort_keys=True)
    fresh, back = apply_patch(state, patch)
    assert json.dumps(state, sort_keys=True) == before
    again, forward = apply_patch(fresh, back)
    assert json.dumps(again, sort_keys=True) == before
    assert apply_patch(again, forward)[0] == fresh


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40, deadline=None)
@given(STATES, st.lists(PATCHES, max_size=6), st.lists(st.sampled_from(["undo", "redo"]), max_size=8))
def test_reopened_history_is_the_same(tmp_path_factory, state, patches, moves):
    history = begin(tmp_path_factory.mktemp("piece"), state)
    for patch in patches:
        history.change(patch, "step")
    for move in moves:
        getattr(history, move)()
    again = History(history.path)
    assert again.state == history.state
    assert (again.revision, again.undo_label, again.redo_label) == (
        history.revision,
        history.undo_label,
        history.redo_label,
    )


def test_undo_and_redo_have_no_limit(tmp_path):
    history = begin(tmp_path)
    for number in range(300):
        history.change([{"at": ["settings"], "set": {"dark": number}}], f"dark {number}")
    for number in reversed(range(300)):
        assert history.undo_label == f"dark {number}"
        assert history.undo()
    assert history.state == {"settings": {}} and not history.undo()
    while history.redo():
        pass
    assert history.state == {"settings": {"dark": 299}}


def test_new_step_ends_what_could_be_redone(tmp_path):
    history = begin(tmp_path)
    history.change([{"at": ["settings"], "set": {"dark": 1}}], "one")
    history.undo()
    history.change([{"at": ["settings"], "set": {"dark": 2}}], "two")
    assert history.redo_label is None and not history.redo()


def test_change_on_an_old_revision_is_refused_and_changes_nothing(tmp_path):
    history = begin(tmp_path)
    history.change([{"at": ["settings"], "set": {"dark": 1}}], revision=1)
    size = history.path.stat().st_size
    for attempt in (
        lambda: history.change([{"at": ["settings"], "set": {"dark": 9}}], revision=1),
        lambda: history.undo(revision=1),
        lambda: history.redo(revision=3),
    ):
        with pytest.raises(StaleRevision):
            attempt()
    assert history.state == {"settings": {"dark": 1}} and history.path.stat().st_size == size


@pytest.mark.parametrize("keep", range(0, 120, 7))
def test_torn_last_line_is_left_out_and_work_goes_on(tmp_path, keep):
    history = begin(tmp_path)
    history.change([{"at": ["settings"], "set": {"dark": 1}}], "one")
    whole = history.path.read_bytes()
    history.change([{"at": ["settings"], "set": {"dark": 2, "detail": "x" * 100}}], "two")
    line = history.path.read_bytes()[len(whole) :]
    history.path.write_bytes(whole + line[: min(keep, len(line) - 1)])
    again = History(history.path)
    assert again.state == {"settings": {"dark": 1}} and again.revision == 2
    again.change([{"at": ["settings"], "set": {"dark": 3}}], "three")
    assert History(history.path).state == {"settings": {"dark": 3}}


def test_altered_line_ends_the_reading_and_the_rest_is_kept_beside(tmp_path):
    history = begin(tmp_path)
    for number in range(4):
        history.change([{"at": ["settings"], "set": {"dark": number}}], str(number))
    lines = history.path.read_bytes().splitlines(keepends=True)
    lines[3] = lines[3].replace(b'"dark":2', b'"dark":7')
    history.path.write_bytes(b"".join(lines))
    again = History(history.path)
    assert again.damaged and again.state == {"settings": {"dark": 1}}
    (spare,) = tmp_path.glob("unreadable-*.txt")
    assert b'"dark":3' in spare.read_bytes()


def test_journal_without_its_first_line_is_refused(tmp_path):
    path = tmp_path / "journal.jsonl"
    path.write_bytes(b"nonsense\n")
    with pytest.raises(PictureError):
        History(path)


@pytest.mark.parametrize(
    "patch",
    [
        [],
        "x",
        [1],
        [{"at": "settings"}],
        [{"at": [1]}],
        [{"at": ["a"] * 9}],
        [{"set": []}],
        [{"drop": [3]}],
        [{"other": 1}],
        [{"at": ["name", "x"], "set": {"a": 1}}],
    ],
)
def test_malformed_patch_is_refused(patch):
    with pytest.raises(UsageError):
        apply_patch({"name": "Heron"}, patch)


def test_checksum_is_crc32_as_zlib_has_it():
    """The check value of CRC-32 (IEEE 802.3) for the digits 1 to 9 is cbf43926: value from memory."""
    assert f"{zlib.crc32(b'123456789'):08x}" == "cbf43926"
    line = encode_record({"a": 1})
    assert line == b"%08x " % zlib.crc32(b'{"a":1}') + b'{"a":1}\n'
    assert decode_record(line) == {"a": 1}
    assert decode_record(line[:-1]) is None and decode_record(b"0" + line[1:]) is None
