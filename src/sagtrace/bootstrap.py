"""The one place that chooses adapters."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sagtrace.app.desk import Desk
from sagtrace.app.fitting import VirtualFitter
from sagtrace.app.plans import FaultBook, Plan
from sagtrace.app.ports import HeadingPlace, JobPlace, JobStore, RoleMemory
from sagtrace.app.practice import Trainer
from sagtrace.app.seeding import seed_demo as seed
from sagtrace.app.workshop import Workshop
from sagtrace.errors import InputError, StoreError
from sagtrace.evidence.models import MODELS
from sagtrace.report.heading import Heading
from sagtrace.report.tree import Paper
from sagtrace.signals.imported import Assignment, Imported
from sagtrace.vehicle.knowledge import Knowledge
from sagtrace.vehicle.layouts import Layout
from sagtrace.vehicle.system import expand

if TYPE_CHECKING:  # because the compiler that the virtual vehicle needs is slow to import
    from sagtrace.app.columns import Column
    from sagtrace.report.pictures import PictureBook
    from sagtrace.report.schematic_rules import Drawing
    from sagtrace.twin.identify.result import Fit
    from sagtrace.twin.virtual import VirtualKnowledge

__all__ = [
    "check_table_name",
    "compile_aloud",
    "demo_folder",
    "drawing",
    "fault_book",
    "job_place",
    "job_schema",
    "open_desk",
    "open_workshop",
    "pictures",
    "read_file",
    "recording_in",
    "read_script",
    "script_from_data",
    "seed_demo",
    "virtual",
    "write_file",
    "write_table",
]

# Adapters are imported where they are first needed: the PDF maker and the reader of
# recordings are large, and most commands use neither.


class _Shipped:
    def load(self) -> Knowledge:
        from platformdirs import user_cache_path

        from sagtrace.adapters.knowledge import SHIPPED, load_knowledge

        return load_knowledge(SHIPPED, MODELS, user_cache_path("sagtrace", appauthor=False))


class _Reader:
    def read(
        self,
        source: bytes | Path,
        name: str,
        assignment: Assignment,
        remembered: Mapping[tuple[str, str], str],
    ) -> Imported:
        from sagtrace.adapters.recordings.read import import_recording
        from sagtrace.adapters.words import load_words

        return import_recording(
            source, name, words=load_words(), assignment=assignment, remembered=remembered
        )


class _Memory:
    def recall(self) -> Mapping[tuple[str, str], str]:
        return self._file().recall()

    def keep(self, roles: Mapping[tuple[str, str], str]) -> None:
        self._file().keep(roles)

    @staticmethod
    def _file() -> RoleMemory:
        from platformdirs import user_data_path

        from sagtrace.adapters.remembered import RoleFile

        return RoleFile(user_data_path("sagtrace", appauthor=False) / "roles.yaml")


class _Headings:
    def load(self) -> Heading:
        return self._file().load()

    def save(self, heading: Heading) -> None:
        self._file().save(heading)

    @staticmethod
    def _file() -> HeadingPlace:
        from platformdirs import user_config_path

        from sagtrace.adapters.remembered import HeadingFile

        return HeadingFile(user_config_path("sagtrace", appauthor=False) / "workshop.yaml")


class _Maker:
    def render(self, paper: Paper) -> bytes:
        from sagtrace.adapters.pdf import render_pdf

        return render_pdf(paper)


def _keep_fit(key: str, work_out: Callable[[], Fit]) -> Fit:
    from platformdirs import user_cache_path

    from sagtrace.adapters.fits import kept_fit

    return kept_fit(user_cache_path("sagtrace", appauthor=False), key, work_out)


@cache
def open_workshop() -> Workshop:
    """Return the use cases over the shipped knowledge, made once a process."""
    return Workshop(
        knowledge_source=_Shipped(),
        recording_reader=_Reader(),
        paper_maker=_Maker(),
        version=version("sagtrace"),
        role_memory=_Memory(),
        headings=_Headings(),
        fitter=VirtualFitter(known=virtual, keep=_keep_fit),
    )


def open_desk(store: str = "") -> Desk:
    """Return the use cases over the jobs that are kept.

    `store` says where: "memory" forgets them, a path is a file, an address that begins with
    "postgresql" a server; an empty text is the file in the user's data folder. Raises StoreError
    if they cannot be kept there.
    """
    from sagtrace.adapters.archives import JobArchives

    return Desk(
        workshop=open_workshop(),
        store=_open_store(store.strip()),
        files=JobArchives(),
        trainer=Trainer(known=virtual),
    )


def _open_store(store: str) -> JobStore:
    if store == "memory":
        from sagtrace.adapters.store.memory import MemoryStore

        return MemoryStore()
    from sagtrace.adapters.store.database import file_store, server_store

    if store.startswith(("postgresql:", "postgres:")):
        return server_store(store)
    if "://" in store:
        raise InputError(
            "the place of the jobs: expected memory, the path of a file, or an address such as "
            f"postgresql://user@host/database, not one that begins with {store.split('://')[0]}."
        )
    return file_store(Path(store).expanduser() if store else _own_file())


def _own_file() -> Path:
    from platformdirs import user_data_path

    folder = user_data_path("sagtrace", appauthor=False)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as err:
        raise StoreError(
            f"the folder {folder} cannot be made ({err.strerror}); name another place for the "
            "jobs with --store or SAGTRACE_STORE."
        ) from None
    return folder / "jobs.db"


def seed_demo(desk: Desk, at: str) -> bool:
    """Keep the invented demonstration job unless it is there; say whether it was put in."""
    return seed(desk, job_place(demo_folder() / "demo.yaml"), at)


def compile_aloud(tell: Callable[[str], None], *, at_once: bool = True) -> None:
    """Let the first fit on a machine say what it prepares, and do so in processes of its own.

    For a command; a library's caller may be anywhere. A program with threads is not divided, so it
    says `at_once=False`.
    """

    def ready() -> None:
        from sagtrace.twin.simulate import prepare

        prepare(tell, at_once=at_once)

    open_workshop().fitter = VirtualFitter(known=virtual, keep=_keep_fit, ready=ready)


@cache
def virtual() -> VirtualKnowledge:
    """Return the shipped virtual vehicles and effects of faults, read once a process."""
    from sagtrace.adapters.virtual import SHIPPED, load_virtual

    return load_virtual(SHIPPED, open_workshop().knowledge)


@cache
def drawing() -> Drawing:
    """Return how systems are drawn, read once a process."""
    from sagtrace.adapters.drawings import SHIPPED, load_drawing

    return load_drawing(SHIPPED, open_workshop().knowledge)


@cache
def pictures() -> PictureBook:
    """Return the pictures of where to measure, read once a process."""
    from sagtrace.adapters.drawings import SHIPPED, load_pictures

    return load_pictures(SHIPPED, open_workshop().knowledge)


def job_place(path: Path) -> JobPlace:
    """Return the place of the job file at this path."""
    from sagtrace.adapters.jobs import JobFile

    return JobFile(path)


def job_schema() -> dict[str, Any]:
    """Return the JSON schema of a job file."""
    from sagtrace.adapters.jobs import job_schema as schema

    return schema()


def read_file(path: Path) -> bytes:
    """Return a file's content; what is no regular file or too large is refused."""
    from sagtrace.adapters.jobs import read_file as read

    return read(path)


def recording_in(path: Path, name: str) -> bytes | Path:
    """Return a recording's content, or its place if it is large."""
    from sagtrace.adapters.jobs import recording_in as read

    return read(path, name)


def write_file(path: Path, content: bytes | Iterator[bytes]) -> None:
    """Write a file whole or not at all; a large one comes in parts."""
    from sagtrace.adapters.jobs import write_file as write

    write(path, content)


def fault_book() -> FaultBook:
    """Return what knows the virtual vehicles and how faults are put into them."""
    from sagtrace.app.known_faults import KnownFaults

    return KnownFaults(known=virtual())


def read_script(data: bytes, name: str) -> tuple[Plan, Layout]:
    """Return the plan of a script for the virtual vehicle, and the layout that it is for."""
    from sagtrace.adapters.scripts import read_script as read

    knowledge = open_workshop().knowledge
    plan = read(data, name, lambda layout: expand(knowledge, layout), fault_book())
    return plan, next(layout for layout in knowledge.layouts if layout.id == plan.layout)


def script_from_data(data: Mapping[str, Any]) -> bytes:
    """Return the fields of a script as the file that would hold them."""
    from sagtrace.adapters.scripts import script_from_data as written

    return written(data)


def check_table_name(path: Path) -> None:
    """Refuse a path that `write_table` would not know how to write."""
    from sagtrace.adapters.exports import check_table_name as check

    check(path)


def write_table(
    path: Path, columns: Sequence[Column], tell: Callable[[float], None] = lambda _: None
) -> None:
    """Write columns as CSV or Parquet, by the path's suffix, whole or not at all."""
    from sagtrace.adapters.exports import check_table_name, table_parts

    check_table_name(path)
    write_file(path, table_parts(columns, path.suffix, tell))


def demo_folder() -> Path:
    """Return the folder of the demonstration job and its recording."""
    return Path(__file__).parent / "demo"
