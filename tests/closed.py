"""Folders that are closed to the superuser too: who asks is a child without its powers."""

from __future__ import annotations

import ctypes
import os
import pickle
import sys
import traceback
from collections.abc import Callable
from typing import Any

_OVERRIDING = 1 << 1 | 1 << 2
"""CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH of linux/capability.h (from memory)."""
_VERSION = 0x20080522  # of the call, _LINUX_CAPABILITY_VERSION_3


class _Head(ctypes.Structure):
    _fields_ = (("version", ctypes.c_uint32), ("process", ctypes.c_int))


class _Powers(ctypes.Structure):
    _fields_ = (
        ("effective", ctypes.c_uint32),
        ("permitted", ctypes.c_uint32),
        ("inheritable", ctypes.c_uint32),
    )


def without_powers(act: Callable[[], Any]) -> Any:
    """What a function returns, or raises, in a child to which folders can be closed."""
    told, tell = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            _give_up_powers()
            answer = (True, act())
        except BaseException as error:
            traceback.print_exc()
            answer = (False, error)
        with open(tell, "wb") as file:
            pickle.dump(answer, file)
        os._exit(0)
    os.close(tell)
    with open(told, "rb") as file:
        is_well, answer = pickle.load(file)
    os.waitpid(child, 0)
    if not is_well:
        raise answer
    return answer


def _give_up_powers() -> None:
    if os.geteuid() != 0:
        return
    assert sys.platform == "linux", "run the tests as somebody who may not write everywhere"
    libc = ctypes.CDLL(None, use_errno=True)
    head, powers = _Head(_VERSION, 0), (_Powers * 2)()
    assert libc.capget(ctypes.byref(head), powers) == 0
    for each in powers[:1]:
        each.effective &= ~_OVERRIDING
        each.permitted &= ~_OVERRIDING
        each.inheritable &= ~_OVERRIDING
    assert libc.capset(ctypes.byref(head), powers) == 0
