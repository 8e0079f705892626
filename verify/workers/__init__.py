"""Worker processes that are watched: one that dies, hangs or grows loses only its own task."""

from verify.workers.pool import Workers, directly
from verify.workers.records import Ask, Limits, Lost, Reply, Work

__all__ = ["Ask", "Limits", "Lost", "Reply", "Work", "Workers", "directly"]
