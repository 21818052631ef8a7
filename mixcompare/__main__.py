"""Run as ``python -m mixcompare``, or by its name: the command line as a process of its own."""

import signal
import sys


def run() -> None:
    """Run the command line and leave with its exit code."""
    code = 130  # for an interrupt that comes before anything can be said of it
    try:
        signal.signal(signal.SIGINT, _end)
        from mixcompare.cli.guard import begin_process, end_process
        from mixcompare.cli.main import main

        begin_process()
        try:
            code = main()
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else 2
        code = end_process(code)
    except KeyboardInterrupt:
        sys.stderr.write("mixcompare: interrupted; nothing was written.\n")
    sys.exit(code)


def _end(number: int, frame: object) -> None:
    """End the run before it has begun, once."""
    signal.signal(number, signal.SIG_IGN)
    raise KeyboardInterrupt


if __name__ == "__main__":
    run()
