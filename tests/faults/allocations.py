# SPDX-License-Identifier: ISC
"""A service whose allocations fail when a test asks for it. failing_malloc.c is preloaded into the service and shares
a file with the test. So the test can send a running service the same request again and again, each time with another
allocation failing."""
import mmap
import os
import re
import struct
import subprocess
from pathlib import Path

CONTROL = struct.Struct("=4q")  # first, last, count, frames: the beginning of struct control
FRAMES_MAX = 32
FOR_EVER = 2**62
LIBRARY = "failing_malloc.so"


class Allocations:
    def __init__(self, folder):
        library, path = folder / LIBRARY, folder / "allocations"
        source = Path(__file__).with_name("failing_malloc.c")
        subprocess.run(
            [os.environ.get("CC", "cc"), "-std=c17", "-D_GNU_SOURCE", "-O1", "-shared", "-fPIC", "-o", library, source],
            check=True,
        )
        path.write_bytes(bytes(CONTROL.size + 8 * FRAMES_MAX))
        with open(path, "r+b") as file:
            self.shared = mmap.mmap(file.fileno(), 0)
        self.environment = {"LD_PRELOAD": str(library), "FAILING_MALLOC": str(path)}
        self.process, self.mapped = None, []

    def watch(self, process):
        """Notes where each file is in the process, while the process lives."""
        self.process = process
        with open(f"/proc/{process}/maps") as maps:
            lines = [re.match(r"(\w+)-(\w+) \S+ (\w+) \S+ \S+\s*(.*)", line).groups() for line in maps]
        self.mapped = [(int(first, 16), int(end, 16), int(offset, 16), file) for first, end, offset, file in lines]

    def arm(self, first, and_all_after=False):
        """Chooses the allocation to fail, counted from 1, and on request all allocations after it as well."""
        self.shared[: CONTROL.size] = CONTROL.pack(0, FOR_EVER if and_all_after else first, 0, 0)
        self.shared[:8] = struct.pack("=q", first)

    def disarm(self):
        self.shared[:8] = bytes(8)

    def count(self):
        """The number of allocations since it was armed."""
        return CONTROL.unpack(self.shared[: CONTROL.size])[2]

    def trace(self):
        """The calls that led to the first failed allocation, innermost first, each as (file, offset in it). Empty:
        none failed."""
        frames = CONTROL.unpack(self.shared[: CONTROL.size])[3]
        addresses = struct.unpack(f"={frames}q", self.shared[CONTROL.size : CONTROL.size + 8 * frames])
        places = [self.place_of(address) for address in addresses]
        return [place for place in places if os.path.basename(place[0]) != LIBRARY]

    def place_of(self, address):
        for first, end, offset, file in self.mapped:
            if first <= address < end:
                return file, address - first + offset
        return "?", address


def described(trace):
    """The same for people: the names of functions, if addr2line knows them."""
    return " < ".join(f"{function_of(file, offset)} ({os.path.basename(file)})" for file, offset in trace[:14])


def function_of(file, offset):
    try:
        done = subprocess.run(["addr2line", "-f", "-e", file, hex(offset - 1)], capture_output=True, text=True)
    except FileNotFoundError:
        return hex(offset)
    name = done.stdout.split("\n")[0]
    return name if name not in ("", "??") else hex(offset)
