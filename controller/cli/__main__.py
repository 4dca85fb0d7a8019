"""`python -m controller.cli` is the command `rowgate`."""

from controller.cli.parser import main

raise SystemExit(main())
