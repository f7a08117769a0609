"""Where `layerpreview` and `python -m layerpreview` begin: thin, so that a stop is never a traceback.

What the commands need is loaded in here, where Ctrl-C is heard.
"""


def run() -> None:
    """Run the command line, and end it in one line when it is stopped, at whatever moment."""
    try:
        from layerpreview.stops import Ended, deaf, end_cleanly, stopped
    except KeyboardInterrupt:
        raise SystemExit(130) from None
    try:
        end_cleanly()
        from layerpreview.cli import main

        main()
    except (KeyboardInterrupt, Ended) as stop:
        stopped(stop)
    finally:
        deaf()  # all is said; a stop that comes now changes nothing


if __name__ == "__main__":
    run()
