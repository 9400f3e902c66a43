"""What this process counts, from its start on: what it answered, and the jobs that it ran.

Several processes count apart; whoever reads their figures adds them up. What the store knows is in
figures.py.
"""

from __future__ import annotations

from prometheus_client import (
    CollectorRegistry,
    Counter,
    Histogram,
    ProcessCollector,
    disable_created_metrics,
)

disable_created_metrics()  # they all say when this process began, in as many lines again
OF_PROCESS = CollectorRegistry()
ProcessCollector(registry=OF_PROCESS)

REQUESTS = Counter(
    "digseason_http_requests",
    "Requests answered, by the form of their address.",
    ("method", "route", "status"),
    registry=OF_PROCESS,
)
REQUEST_SECONDS = Histogram(
    "digseason_http_request_duration",
    "How long an answer took.",
    ("method", "route"),
    unit="seconds",
    buckets=(0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30),
    registry=OF_PROCESS,
)
JOBS = Counter(
    "digseason_job_runs",
    "Jobs of this process that ran, by how they ended.",
    ("job", "outcome"),
    registry=OF_PROCESS,
)
JOB_SECONDS = Histogram(
    "digseason_job_duration",
    "How long a job ran.",
    ("job",),
    unit="seconds",
    buckets=(0.1, 1, 10, 60, 600, 3600),
    registry=OF_PROCESS,
)
MESSAGES = Counter(
    "digseason_messages",
    "Messages that this process tried to hand over, by what became of each.",
    ("channel", "outcome"),
    registry=OF_PROCESS,
)
