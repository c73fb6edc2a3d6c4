"""Work that takes longer than a page may wait: one piece after the other, beside the answers.

A task is known by its job and its sender's key, so that a repeated request starts nothing twice.
Limits: tasks are forgotten when the program ends; what they kept is not.
"""

from __future__ import annotations

import hashlib
import logging
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from contextvars import copy_context
from dataclasses import dataclass, field
from typing import Literal

from sagtrace.errors import InputError, SagtraceError, UnknownIdError
from sagtrace.web.words import _, later

__all__ = ["State", "Task", "Tasks"]

LOG = logging.getLogger("sagtrace.web")
MOST = 200  # chosen: tasks that are remembered
DEFECT = later(
    "This is a defect of the program, not of the file. Nothing was kept; the program's log says "
    "where it happened."
)

State = Literal["waiting", "working", "done", "failed"]
Work = Callable[[Callable[[str], None]], Mapping[str, str]]


@dataclass(slots=True, kw_only=True, eq=False)
class Task:
    """One piece of work. `said` is how far it is, in words; `result` is what came of it."""

    id: str
    job: str
    what: str  # for people: the file, or what is read
    subject: str  # what it is about, such as the digest of a file
    request: str  # digest of what was asked for
    state: State = "waiting"
    said: str = ""
    result: Mapping[str, str] = field(default_factory=dict)
    problem: str = ""
    told: bool = False  # somebody was told that it failed
    over: threading.Event = field(default_factory=threading.Event)

    @property
    def open(self) -> bool:
        """Whether it goes on."""
        return self.state in ("waiting", "working")


class Tasks:
    """The tasks of all jobs. Safe to use from several threads."""

    def __init__(self, words: Callable[[str], str] = str) -> None:
        self._words = words
        self._known: OrderedDict[str, Task] = OrderedDict()
        self._lock = threading.Lock()
        self._turn = threading.Lock()  # because two fits at once would only be slower
        self._now: Task | None = None

    def start(
        self, job: str, key: str, work: Work, *, what: str, subject: str, request: str = ""
    ) -> Task:
        """Start a task, or return the one that the same key started.

        Raises InputError for a key that was used for something else.
        """
        name = hashlib.sha256(f"{job}\n{key}".encode()).hexdigest()[:20]
        with self._lock:
            known = self._known.get(name)
            if known is not None:
                if known.request != request:
                    raise InputError(
                        _(
                            "the key %(key)s was used for another request; give each its own.",
                            key=repr(key),
                        )
                    )
                return known
            task = Task(id=name, job=job, what=what, subject=subject, request=request)
            task.said = _("%(file)s waits for its turn.", file=what)
            self._known[name] = task
            for old in [t for t in self._known.values() if not t.open][:-MOST]:
                del self._known[old.id]
        here = copy_context()  # so that it speaks the language of who started it
        threading.Thread(target=here.run, args=(self._run, task, work), daemon=True).start()
        return task

    def _run(self, task: Task, work: Work) -> None:
        with self._turn:
            task.state, self._now = "working", task
            try:
                task.result = work(self.say)
                task.state = "done"
            except SagtraceError as err:
                task.problem, task.state = self._words(str(err)), "failed"
            except Exception:  # a thread has nobody above it
                LOG.exception("defect in task %s", task.what)
                task.problem, task.state = _(DEFECT), "failed"
            finally:
                self._now = None
                task.over.set()

    def say(self, text: str) -> None:
        """Tell how far the task is that works now, if one does."""
        task = self._now
        if task is not None:
            task.said = text

    def get(self, job: str, task: str) -> Task:
        """Return a task of a job; raise UnknownIdError if there is none."""
        with self._lock:
            found = self._known.get(task)
        if found is None or found.job != job:
            raise UnknownIdError("task of this job", task, ())
        return found

    def about(self, job: str, subject: str) -> Task | None:
        """Return the newest task of a job about something."""
        with self._lock:
            tasks = [t for t in self._known.values() if (t.job, t.subject) == (job, subject)]
        return tasks[-1] if tasks else None
