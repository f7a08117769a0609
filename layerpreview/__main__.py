"""Where `layerpreview` and `python -m layerpreview` begin: thin, so that a stop is never a traceback.

What the commands need is loaded in here, where Ctrl-C is heard.
"""

from layerpreview.stops import Ended, end_cleanly, stopped


def run() -> None:
    """Run the command line, and end it in one line when it is stopped, at whatever moment."""
    try:
        end_cleanly()
        from layerpreview.cli import main

        main()
    except (KeyboardInterrupt, Ended) as stop:
        stopped(stop)


if __name__ == "__main__":
    run()
