"""`python -m tui` is `evendraw`."""

from tui.commandline.cli import main

raise SystemExit(main())
