"""Readings other than drops reach the document, each with its uncertainty; assumed values do not."""

from __future__ import annotations

from builders import PANEL, profile_from

from partgen.output.result_measured import measured

POSITION = '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = [4.3]\n'


def test_every_reading_of_the_file_is_listed_once_in_its_order():
    rows = measured(profile_from(PANEL + "[[panel.gap]]\nat = [1, 1]\nread = [9.1]\n" + POSITION))
    subjects = [row.subject for row in rows]
    assert subjects[:4] == ["[panel] thickness", "panel gap 1", "[hole.window] width", "[hole.window] depth"]
    assert "[seat.plunger] travel" in subjects and len(subjects) == len(set(subjects))
    width = rows[2]
    assert width.readings_mm == (11.52, 11.5) and 11.5 < width.value_mm < 11.52 and 0.02 < width.u95_mm < 0.2


def test_a_thickness_that_nobody_measured_is_not_listed_as_measured():
    text = PANEL.replace("[panel]\nthickness = [2.02, 2.05, 2.03]\n", "") + POSITION
    assert all(row.subject != "[panel] thickness" for row in measured(profile_from(text)))
