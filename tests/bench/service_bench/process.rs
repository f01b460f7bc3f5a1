//! What the system tells of a process (proc(5)).

use std::time::Duration;

use anyhow::Context as _;

/// In what `/proc/PID/stat` counts time: a hundredth of a second on every Linux (`USER_HZ`).
const TICK: Duration = Duration::from_millis(10);
/// What the system calls kB are 1,024 bytes.
const MB_A_KIB: f64 = 1.024e-3;

/// How long the process has kept processors busy, in its own code and in the system's.
pub(crate) fn busy(id: u32) -> anyhow::Result<Duration> {
    let stat = std::fs::read_to_string(format!("/proc/{id}/stat"))?;
    // The name stands in parentheses and may hold anything; after it come state, parent and so on.
    let (_, after_name) = stat.rsplit_once(')').context("stat names the process")?;
    let ticks = after_name.split_whitespace().skip(11).take(2).map(str::parse::<u32>);
    Ok(TICK * ticks.sum::<Result<u32, _>>()?)
}

/// Resident memory of the process in MB: now, and the most so far.
pub(crate) fn memory_mb(id: u32) -> anyhow::Result<(f64, f64)> {
    let status = std::fs::read_to_string(format!("/proc/{id}/status"))?;
    let kib = |name: &str| {
        let line = status.lines().find_map(|line| line.strip_prefix(name));
        let number = line.and_then(|line| line.trim().strip_suffix(" kB"));
        number.and_then(|kib| kib.trim().parse::<f64>().ok()).with_context(|| format!("status has no {name}"))
    };
    Ok((kib("VmRSS:")? * MB_A_KIB, kib("VmHWM:")? * MB_A_KIB))
}
