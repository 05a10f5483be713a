import sys

from gainwright_proof.inserted_defects.table import report

sys.exit(report("--json" in sys.argv[1:]))
