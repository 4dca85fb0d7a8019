"""`python -m controller.cli` is the command `rowgate`."""

from controller.cli.entry import main

raise SystemExit(main())
