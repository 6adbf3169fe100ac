"""An invented evening class of four over ten weeks, synthesised, measured and reported.

Ines climbs steadily. Joris climbs for four weeks and then stays where he is. Mina plays evenly and pulls ahead of the
click. Tobias comes when he can. None of them exists; every recording is computed, with errors whose sizes are known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from multiprocessing import get_context
from pathlib import Path

from strumclock.batch import BatchReport, Step, measure_folder
from strumclock.batch.running import cores
from strumclock.errors import OutputError, UsageError
from strumclock.grid import Exercise
from strumclock.journal import Journal
from strumclock.report import answer_students, class_table, write_class_plot, write_progress_plot
from strumclock.saving import replacing, write_text
from strumclock.synthesis import Player, Scene, synthesise
from strumclock.weeks import Progress, class_list

WEEKS = 10  # of practice in the demonstration
EXERCISE = "two chords"
BARS = 7  # 4/4: more than the 20 s that a standard asks for, up to 84 bpm
TOO_FAST = 3.0  # times a player's jitter in a take that is too fast for them
CLASS_TOML = f"""\
# What holds for the whole evening class. Each student's folder has a practice.toml with a name.
standard = "steady"

[exercises."{EXERCISE}"]
meter = "4/4"
per_beat = 1
pattern = "DDDD"
chords = "A D"
beats_per_change = 4
count_in = 1
bars = {BARS}
goal_bpm = 84
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One take of the demonstration: where it goes, and what is played."""

    path: Path
    bpm: float
    player: Player
    scene: Scene
    seed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Demo:
    """What the demonstration left.

    Attributes
    ----------
    folder : Path
    takes : int
        Recordings made.
    batch : BatchReport
    students : tuple of Progress
    table : str
        The class, in order of need.
    written : tuple of Path
        Pictures and texts.
    """

    folder: Path
    takes: int
    batch: BatchReport
    students: tuple[Progress, ...]
    table: str
    written: tuple[Path, ...]

    def __str__(self) -> str:
        files = ", ".join(path.relative_to(self.folder).as_posix() for path in self.written)
        return f"{self.batch}\n\n{self.table}\n\nIn {self.folder}: {files}"


def build_demo(
    folder: Path,
    *,
    workers: int | None = None,
    progress: Callable[[Step], None] | None = None,
    today: date | None = None,
) -> Demo:
    """Make the class's recordings in a folder and run all of the practice record on them.

    Parameters
    ----------
    folder : Path
        New, empty, or of an earlier demonstration (whose recordings are kept and not measured again).
    workers : int, optional
        Processes; all cores by default.
    progress : callable, optional
        Told about each take that is measured.
    today : date, optional
        The day after the last evening; today.

    Raises
    ------
    UsageError
        If the folder holds something else.
    OutputError
        If it cannot be written.
    """
    folder = Path(folder)
    if folder.is_dir() and any(folder.iterdir()) and not _is_demonstration(folder):
        raise UsageError(f"a demonstration needs a new or empty folder, but {folder} holds something; choose another")
    planned = [take for take in plan(folder, today or date.today()) if not take.path.exists()]
    try:
        _write_settings(folder)
        with ProcessPoolExecutor(workers or cores(), mp_context=get_context("spawn")) as pool:
            list(pool.map(make, planned, chunksize=4))
    except OSError as error:
        raise OutputError(
            f"the demonstration must be written, but of {folder} the system said: {error.strerror}"
        ) from None
    report = measure_folder(folder, workers=workers, progress=progress)
    journal = Journal(folder)
    if planned:
        journal.note("Joris", "Asked about the change to D: the third finger comes last.", exercise=EXERCISE)
    answers = folder / "answers.txt"
    if planned or not answers.exists():
        answer_students(journal, answers, today=today)
    students = class_list(journal, today=today)
    table = class_table(students, answers=journal.last_answers())
    written = [
        answers,
        write_class_plot(students, folder / "class.png"),
        write_text(folder / "class.txt", table + "\n"),
        *(write_progress_plot(one, folder / one.student.lower() / "progress.png") for one in students),
    ]
    return Demo(folder=folder, takes=len(planned), batch=report, students=students, table=table, written=tuple(written))


def plan(folder: Path, today: date) -> Iterator[Planned]:
    """Every take of the ten weeks, with its seed."""
    seed = 0
    evenings = [today - timedelta(days=1, weeks=WEEKS - 1 - week) for week in range(WEEKS)]
    for student, weeks in _class().items():
        for week, takes in weeks.items():
            for number, (bpm, player) in enumerate(takes, start=1):
                seed += 1
                name = f"{evenings[week].isoformat()} {EXERCISE} @{bpm:g} take {number}.flac"
                scene = Scene(click_db=-6.0, click_sound="wood", noise_db=-50.0, reverberation_s=0.2)
                yield Planned(path=folder / student / name, bpm=bpm, player=player, scene=scene, seed=seed)


def _class() -> dict[str, dict[int, list[tuple[float, Player]]]]:
    """What each of the four plays: by week, tempo and player of each take."""
    steady = {
        week: [(62.0 + 2 * week, _even(9.0 - 0.35 * week)), (62.0 + 2 * week, _even(9.0 - 0.35 * week))]
        for week in range(WEEKS)
    }
    plateau: dict[int, list[tuple[float, Player]]] = {}
    for week in range(WEEKS):
        bpm = 64.0 + 3 * min(week, 4)
        plateau[week] = [(bpm, _even(8.0)), (bpm, _even(8.0))]
        if week >= 4:
            plateau[week].append((79.0, _even(8.0 * TOO_FAST, late=45.0, miss=0.2)))
    ahead = {week: [(66.0 + week, _even(6.0, offset=-12.0, drift=-40.0 - 25 * week))] * 2 for week in range(WEEKS)}
    gaps = {week: [(60.0 + week, _even(10.0)), (60.0 + week, _even(10.0))] for week in (0, 1, 4, 5, 7)}
    return {"ines": steady, "joris": plateau, "mina": ahead, "tobias": gaps}


def _even(
    timekeeper_ms: float, *, offset: float = -6.0, drift: float = 0.0, late: float = 8.0, miss: float = 0.0
) -> Player:
    return Player(offset_ms=offset, timekeeper_ms=timekeeper_ms, drift_ms_per_min=drift, change_late_ms=late, miss=miss)


def make(take: Planned) -> None:
    """Synthesise one take into its file. Runs in a process of its own."""
    import soundfile

    exercise = Exercise(bpm=take.bpm, meter="4/4", per_beat=1, pattern="DDDD", chords=("A", "D"), count_in=1, bars=BARS)
    sound = synthesise(exercise, take.player, take.scene, seed=take.seed)
    take.path.parent.mkdir(parents=True, exist_ok=True)
    with replacing(take.path) as temporary:
        soundfile.write(temporary, sound.samples, sound.sample_rate_hz, subtype="PCM_16", format="FLAC")


def _write_settings(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    texts = {folder / "practice.toml": CLASS_TOML}
    for student in _class():
        (folder / student).mkdir(exist_ok=True)
        text = f'student = "{student.capitalize()}"\nequipment = "synthesised steel strings"\n'
        texts[folder / student / "practice.toml"] = text
    for path, text in texts.items():
        if not path.exists():  # what somebody changed in it stays
            write_text(path, text)


def _is_demonstration(folder: Path) -> bool:
    """Whether a folder is of an earlier demonstration: its settings begin as ours do."""
    try:
        text = (folder / "practice.toml").read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return False
    return text.startswith(CLASS_TOML.partition("\n")[0])
