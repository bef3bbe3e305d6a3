#!/bin/bash
# A real Slurm job array on this one machine: eight shards, one merge, compared byte for byte with the single run.
#
#   .ci/slurm-array.sh [path to the readodds binary]
#
# Needs root and Debian's slurmctld slurmd slurm-client munge (installed here if missing). Brings up its own controller and node from
# a folder of its own on ports of its own, and takes both down again. Touches no other Slurm.
set -euo pipefail
cd "$(dirname "$0")/.."
binary=$(realpath "${1:-target/release/readodds}")
scenario=$PWD/scenarios/half-marathon-rain-eu-lower.toml
worlds=48 each=40

for program in slurmctld slurmd sbatch munged; do
  command -v $program >/dev/null || {
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends slurmctld slurmd slurm-client munge >/dev/null
    break
  }
done

box=$(mktemp -d /tmp/readodds-slurm.XXXXXX)
chmod 755 "$box"
mkdir "$box/state" "$box/spool" "$box/work" "$box/bin"
ln -s "$binary" "$box/bin/readodds"
started=()
finish() {
  code=$?
  # Only what this script started.
  for pid in "${started[@]}"; do kill "$pid" 2>/dev/null || true; done
  if [ $code -ne 0 ]; then tail -n 30 "$box"/*.log "$box"/work/*.out 2>/dev/null || true; fi
  [ -n "${added_address:-}" ] && ip addr del "$added_address" dev lo || true
  sleep 0.5
  rm -rf "$box"
  exit $code
}
trap finish EXIT

# With nothing but a loopback address the resolver refuses even 127.0.0.1: give the machine one more for the time of the test.
node_address=127.0.0.1
if command -v ip >/dev/null && ! ip -4 -o addr show scope global | grep -q .; then
  added_address=10.99.0.1/32
  ip addr add "$added_address" dev lo
fi

# Munge with a key, a socket and a place of its own.
dd if=/dev/urandom of="$box/munge.key" bs=128 count=1 status=none
chmod 400 "$box/munge.key"
munged --foreground --force --key-file="$box/munge.key" --socket="$box/munge.socket" --pid-file="$box/munge.pid" \
  --log-file="$box/munge.log" --seed-file="$box/munge.seed" &
started+=($!)

host=$(hostname -s)
cat >"$box/slurm.conf" <<CONF
ClusterName=readodds
SlurmctldHost=$host($node_address)
SlurmctldPort=26817
SlurmdPort=26818
SlurmUser=root
AuthType=auth/munge
AuthInfo=socket=$box/munge.socket
CredType=cred/munge
StateSaveLocation=$box/state
SlurmdSpoolDir=$box/spool
SlurmctldPidFile=$box/slurmctld.pid
SlurmdPidFile=$box/slurmd.pid
SlurmctldLogFile=$box/slurmctld.log
SlurmdLogFile=$box/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
ReturnToService=2
MpiDefault=none
NodeName=$host NodeAddr=$node_address CPUs=$(nproc) State=UNKNOWN
PartitionName=all Nodes=$host Default=YES MaxTime=INFINITE State=UP
CONF
# Slurm 22.05 looks for a cgroup mount even when nothing uses it; version 1 does not insist.
echo "CgroupPlugin=cgroup/v1" >"$box/cgroup.conf"
export SLURM_CONF=$box/slurm.conf
slurmctld -D -f "$box/slurm.conf" >"$box/slurmctld.out.log" 2>&1 &
started+=($!)
slurmd -D -f "$box/slurm.conf" -N "$host" >"$box/slurmd.out.log" 2>&1 &
started+=($!)
for _ in $(seq 60); do
  sinfo -h -o %t 2>/dev/null | grep -q idle && break
  sleep 0.5
done
sinfo

export PATH=$box/bin:$PATH
cd "$box/work"
readodds predict "$scenario" --worlds $worlds --passings-per-world $each --format json --out single.json
readodds plan "$scenario" --worlds $worlds --passings-per-world $each --shards 8 --engine slurm --rows rows >job.sh
cat job.sh
job=$(sbatch --parsable --output=task-%a.out job.sh)
# The merge waits for every task of the array, as it would on a cluster.
sbatch --parsable --wait --dependency="afterok:$job" --output=merge.out \
  --wrap "readodds merge '$scenario' rows --format json --out merged.json"
ls -l rows
cmp single.json merged.json
echo "slurm job array: 8 shards and the single run give the same bytes"
