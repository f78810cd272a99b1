#!/bin/sh
# fit_archive() over a batch system that really runs: starts a one-node Slurm on this machine (loopback, own
# ports and folder), fits 1e5 groups over future.batchtools while one worker is killed, and compares with
# one process. Ends the daemons it started. Needs root and a Debian-like system; package installed.
#   sudo sh inst/scripts/dev/check-slurm.sh [GROUPS]
set -eu
top=$(cd "$(dirname "$0")/../../.." && pwd)
. "$top/inst/scripts/setup.sh"
[ "$(id -u)" = 0 ] || {
    echo "Slurm left out: it needs root here."
    exit 0
}
need_program sbatch slurm-wlm
need_program munged munge
need_r future.apply batchtools future.batchtools nanoparquet
work=$(mktemp -d)
mkdir "$work/state" "$work/spool"
own_munge=
stop() {
    for daemon in slurmd slurmctld; do
        [ ! -f "$work/$daemon.pid" ] || kill "$(cat "$work/$daemon.pid")" 2>/dev/null || true
    done
    [ -z "$own_munge" ] || kill "$own_munge" 2>/dev/null || true
    sleep 2
    rm -rf "$work"
}
trap stop EXIT
if ! munge -n >/dev/null 2>&1; then
    mkdir -p /run/munge
    chown munge: /run/munge
    runuser -u munge -- munged --pid-file=/run/munge/munged.pid
    own_munge=$(cat /run/munge/munged.pid)
fi
cat >"$work/slurm.conf" <<CONF
ClusterName=one
SlurmctldHost=localhost
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
SlurmctldPort=26827
SlurmdPort=26828
SlurmctldPidFile=$work/slurmctld.pid
SlurmdPidFile=$work/slurmd.pid
SlurmctldLogFile=$work/slurmctld.log
SlurmdLogFile=$work/slurmd.log
StateSaveLocation=$work/state
SlurmdSpoolDir=$work/spool
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
SwitchType=switch/none
MpiDefault=none
ReturnToService=2
NodeName=localhost NodeHostname=$(hostname -s) NodeAddr=127.0.0.1 CPUs=2 State=UNKNOWN
PartitionName=all Nodes=localhost Default=YES MaxTime=INFINITE State=UP
CONF
export SLURM_CONF="$work/slurm.conf"
slurmctld -f "$SLURM_CONF"
slurmd -f "$SLURM_CONF" -N localhost
tries=0
until sinfo -h -o %T | grep -q idle; do
    tries=$((tries + 1))
    [ $tries -lt 60 ] || {
        cat "$work"/*.log
        exit 1
    }
    sleep 1
done
sinfo --version
TMPDIR="$work" Rscript "$top/inst/scripts/dev/check-slurm.R" "${1:-1e5}"
