"""Machines that run without doing their work, told from their state and what the water answers."""

from leadline.detect.machines.watch import Machines

__all__ = ["Machines"]
