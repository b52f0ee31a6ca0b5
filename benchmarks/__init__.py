"""Our figures beside other engines', in one run: `make bench` (python -m benchmarks)."""
