"""`python -m tui` is `evendraw`."""

from tui.cli import main

raise SystemExit(main())
