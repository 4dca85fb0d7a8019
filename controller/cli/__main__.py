"""`python -m controller.cli` is the command `rowgate`."""

from controller.cli.main import main

raise SystemExit(main())
