"""What the commands print: sentences, then one table, in 80 columns."""

from __future__ import annotations

import threading

from optimizer.cli import _terminal


def test_sentences_wrap_at_80_columns(capsys):
    _terminal.say("One sentence that goes on " * 6, "and another.")
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 1
    assert max(map(len, lines)) <= 80
    assert lines[-1].endswith("and another.")


def test_a_piped_table_is_aligned_plain_text(capsys):
    _terminal.table(["mark", "time"], [["Gull Corner", "7:02"], ["Finish", "57:42"]], "Splits")
    assert capsys.readouterr().out == (
        "\nSplits\nmark          time\n-----------  -----\nGull Corner   7:02\n"
        "Finish       57:42\n")


def test_a_wide_table_is_narrowed_to_80_columns(capsys):
    _terminal.table(["item", "why", "s"], [["x" * 30, "a reason that goes on " * 8, "12"]],
                    left=(0, 1))
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80


def test_a_name_from_a_file_cannot_steer_the_terminal(capsys):
    _terminal.say("rider \x1b[31mred\x07")
    _terminal.table(["a"], [["\x1b]0;title\x07"]])
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "\x07" not in out


def test_long_work_says_what_is_under_way_when_piped(capsys, monkeypatch):
    monkeypatch.setattr(_terminal, "_FIRST_LINE", 0.02)
    monkeypatch.setattr(_terminal, "_NEXT_LINE", 0.02)
    spoken = threading.Event()
    original = _terminal.click.echo

    def echo(*words, **how):
        original(*words, **how)
        spoken.set()

    monkeypatch.setattr(_terminal.click, "echo", echo)
    with _terminal.progress_line("Planning") as progress:
        progress("which \x1bkit")
        assert spoken.wait(30.0)
        spoken.clear()
        assert spoken.wait(30.0)
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("Planning: which  kit (0 s so far)\n")


def test_short_work_says_nothing_when_piped(capsys):
    with _terminal.progress_line("choosing") as progress:
        progress("set 1")
    captured = capsys.readouterr()
    assert captured.out + captured.err == ""


def test_timings_name_each_stage_once_with_both_clocks(capsys, monkeypatch):
    seconds = iter([1.0, 3.0, 3.5, 7.5])
    monkeypatch.setattr(_terminal, "_BEGUN", 0.0)
    monkeypatch.setattr(_terminal.time, "perf_counter", lambda: next(seconds))
    monkeypatch.setattr(_terminal.time, "process_time", lambda: 0.25)
    with _terminal.progress_line("Planning", timings=True) as progress:
        progress("which kit")
        progress("how to ride it")
        progress("which kit")
    captured = capsys.readouterr()
    assert captured.out == ""
    rows = [line.split(maxsplit=2) for line in captured.err.splitlines()[1:]]
    told = {words: (wall, own) for wall, own, words in rows}
    assert told["start"] == ("1.00", "0.25")
    assert told["which kit"] == ("6.00", "0.00")  # 3.0 - 1.0 and 7.5 - 3.5
    assert told["how to ride it"] == ("0.50", "0.00")
    assert told["in all"] == ("7.50", "0.25")


def test_how_files_were_read_is_said_in_full_or_with_the_place_of_the_rest(capsys):
    words = [f"row {k}" for k in range(30)]
    _terminal.reading_notes(words)
    out = capsys.readouterr().out
    assert all(f"- {one}\n" in out for one in words)
    _terminal.reading_notes(words, 8, "in the report")
    out = capsys.readouterr().out
    assert "- row 7\n- and 22 more: in the report\n" in out
    assert "row 8" not in out
    _terminal.reading_notes(())
    assert not capsys.readouterr().out
