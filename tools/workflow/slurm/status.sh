#!/bin/sh
# What Snakemake asks about a job: running, success or failed.
state=$(sacct --jobs "$1" --noheader --parsable2 --allocations --format State 2>/dev/null | head -n 1 | cut -d ' ' -f 1)
case $state in
  COMPLETED) echo success ;;
  BOOT_FAIL | CANCELLED | DEADLINE | FAILED | NODE_FAIL | OUT_OF_MEMORY | PREEMPTED | TIMEOUT) echo failed ;;
  *) echo running ;;
esac
