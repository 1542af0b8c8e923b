"""Keeps the session's progress as the snapshots that the pages show; safe from several threads."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping
from datetime import datetime

from loomproof.facts.finding import Finding
from loomproof.facts.signature import Signature
from loomproof.facts.verdict import PropertyVerdict, Verdict
from loomproof.job.model import Job
from loomproof.procedure.events import (
    ChannelMeasured,
    InterlocksChanged,
    JudgedAnew,
    LinkFailed,
    SessionOpened,
    SessionStopped,
    StepFinished,
    StepStarted,
    StopCleared,
    SupplyChanged,
)
from loomproof.procedure.session import Session
from loomproof.procedure.timing import left_s
from loomproof.safety.interlocks import VOIDER_TEXT
from loomproof.safety.statements import form_for
from loomproof.tui.desk.channels import channel_views, place_name
from loomproof.tui.desk.engine import engine_view
from loomproof.tui.desk.headers import header_views
from loomproof.tui.messages import Progress
from loomproof.tui.pages.findings.desk import finding_view
from loomproof.tui.pages.record.view import RecordLine, RecordView
from loomproof.tui.pages.run_sheet.desk import outcome_text, step_view
from loomproof.tui.words import Live

LONGEST_LOG = 2000


class ProgressKeeper:
    """Steps, channels, findings and the lines of the record, as they stand."""

    def __init__(self, job: Job, record_where: str, wall: Callable[[], datetime]) -> None:
        self._job = job
        self._wall = wall
        self._lock = threading.Lock()
        self._session: Session | None = None
        self._verdicts: tuple[PropertyVerdict, ...] = ()
        self._findings: tuple[Finding, ...] = ()
        self._signatures: dict[int, Signature] = {}
        self._active: str | None = None
        self._where = record_where
        self._record_id = ""
        self._lines: deque[RecordLine] = deque(maxlen=LONGEST_LOG)
        self.running = False

    def opened(self, session: Session) -> None:
        """The session is open."""
        with self._lock:
            self._session = session
            self._record_id = session.record_id
            self._verdicts, self._findings = session.verdicts(), session.findings()
            for outcome in session.outcomes:
                for evidence in outcome.evidence:
                    if evidence.signature is not None:
                        self._signatures[evidence.channel] = evidence.signature

    def measured(self, channel: int, signature: Signature | None) -> None:
        """A free drive measured a channel."""
        if signature is not None:
            with self._lock:
                self._signatures[channel] = signature

    def note(self, what: str, text: str, verdict: Verdict | None = None) -> None:
        """Add a line to the record page."""
        when = self._wall().strftime("%H:%M:%S")
        with self._lock:
            self._lines.append(RecordLine(when, what, text, verdict))

    def take(self, event: object) -> bool:
        """Take in an event; True when it changes what the pages show."""
        if isinstance(event, StepStarted):
            self._active = event.step.id
        elif isinstance(event, StepFinished):
            self._active = None
            verdict = event.outcome.verdict
            self.note("step", f"{event.step.title}: {outcome_text(event.outcome)}", verdict)
        elif isinstance(event, JudgedAnew):
            with self._lock:
                self._verdicts, self._findings = event.verdicts, event.findings
        elif isinstance(event, ChannelMeasured):
            if not event.sense:
                self.measured(event.channel, event.signature)
        else:
            return self._take_fact(event)
        return True

    def _take_fact(self, event: object) -> bool:
        line = self._fact_line(event)
        if line is not None:
            self.note(*line)
        return line is not None

    def _fact_line(self, event: object) -> tuple[str, str] | None:
        if isinstance(event, InterlocksChanged):
            return self._statement_line(event)
        if isinstance(event, SessionOpened):
            return "record", f"kept as {event.record_id}" if event.record_id else "no record is kept"
        if isinstance(event, SessionStopped):
            return "stop", event.reason
        if isinstance(event, StopCleared):
            return "stop", "cleared by the operator; nothing is armed, nothing stated"
        if isinstance(event, LinkFailed):
            return "link", event.reason
        if isinstance(event, SupplyChanged):
            return "supply", f"{'back' if event.present else 'lost'} at {event.supply_v:.1f} V"
        return None

    def _statement_line(self, event: InterlocksChanged) -> tuple[str, str] | None:
        if event.made is not None:
            form = form_for(event.made.kind, self._job.setting)
            return "statement", f"{form.title}, stated by {event.made.who}"
        if event.voided_by is not None:
            return "statement", f"voided: {VOIDER_TEXT[event.voided_by]}"
        return None

    def progress(self, live: Mapping[int, Live]) -> Progress:
        """Return the snapshot."""
        with self._lock:
            session, active = self._session, self._active
            verdicts, findings = self._verdicts, self._findings
            signatures, lines = dict(self._signatures), tuple(self._lines)
        channels = channel_views(self._job, verdicts, signatures, live)
        record = RecordView(self._where, self._record_id, lines)
        engine, headers = engine_view(self._job, channels), header_views(self._job, channels)
        if session is None:
            return Progress(
                channels=channels, engine=engine, headers=headers, record=record, running=self.running
            )
        outcomes = {step.id: session.outcome_of(step.id) for step in session.sheet.steps}
        fitted = sum(1 for channel in channels if channel.fitted)
        steps = tuple(
            step_view(
                step,
                number,
                outcomes[step.id],
                running=step.id == active,
                fitted=fitted,
                where=place_name(self._job, step.channel),
            )
            for number, step in enumerate(session.sheet.steps, 1)
        )
        following = session.next_step()
        return Progress(
            steps=steps,
            current=active or (following.id if following is not None else None),
            channels=channels,
            engine=engine,
            headers=headers,
            findings=tuple(finding_view(finding) for finding in findings),
            record=record,
            running=self.running,
            finished=following is None,
            left_s=left_s(session.sheet.steps, (made for made in outcomes.values() if made is not None)),
        )
