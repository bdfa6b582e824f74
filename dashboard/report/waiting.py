"""Reports are made two at a time, whoever asks: a report takes seconds of a processor, and a PDF a browser."""

from __future__ import annotations

from evenfoot.analytics.messages import say
from evenfoot.analytics.work_queue import Turns

BUSY = say("Many reports are being made now. Try again in a minute.")

REPORTS = Turns(2, 4, BUSY)
"""Of the server's 16 threads four may wait for a report. [common practice, no source]"""
