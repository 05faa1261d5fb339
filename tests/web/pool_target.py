"""What a process of the pool does in tests: sleeps, echoes, or dies."""

import os
import time


def serve(line) -> None:
    line.send(True)
    while True:
        try:
            what, value = line.recv()
        except EOFError:
            return
        if what == "sleep":
            time.sleep(value)
        until = time.process_time() + (value if what == "burn" else 0)
        while time.process_time() < until:
            pass
        if what == "die":
            os._exit(3)
        line.send(((what, value, os.getpid()), 500 * 1024 if what == "grow" else 0))
