#!/bin/bash
# The same under the Open MPI launcher: four processes, one merge, compared byte for byte with the single run.
#
#   .ci/open-mpi.sh [path to the readodds binary]
#
# Needs Debian's openmpi-bin (installed here if missing).
set -euo pipefail
cd "$(dirname "$0")/.."
binary=$(realpath "${1:-target/release/readodds}")
scenario=$PWD/scenarios/half-marathon-rain-eu-lower.toml
command -v mpirun >/dev/null || {
  apt-get update -qq
  DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends openmpi-bin >/dev/null
}

box=$(mktemp -d /tmp/readodds-mpi.XXXXXX)
trap 'rm -rf "$box"' EXIT
mkdir "$box/bin"
ln -s "$binary" "$box/bin/readodds"
export PATH=$box/bin:$PATH
cd "$box"
readodds predict "$scenario" --worlds 48 --passings-per-world 40 --format json --out single.json
readodds plan "$scenario" --worlds 48 --passings-per-world 40 --shards 4 --engine mpi --rows rows >job.sh
cat job.sh
# More processes than cores, and root inside a container, need to be allowed by name.
OMPI_MCA_rmaps_base_oversubscribe=1 OMPI_ALLOW_RUN_AS_ROOT=1 OMPI_ALLOW_RUN_AS_ROOT_CONFIRM=1 sh job.sh
ls -l rows
cmp single.json forecast.json
echo "Open MPI launcher: 4 shards and the single run give the same bytes"
