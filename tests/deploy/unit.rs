//! The service unit, by systemd's own checks.

use super::{file, run, run_well, text, tool};

const PACKAGE: &str = "Debian: systemd";
/// Exposure from 0 to 100 as `systemd-analyze security` weighs it; most units of a distribution are above 90.
const EXPOSURE_MOST: &str = "15";

#[test]
fn systemd_reads_the_unit_without_complaint() {
    let Some(mut systemd) = tool("systemd-analyze", "the service unit", PACKAGE) else { return };
    // The program is not installed here, so a copy names one that is.
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("tenths.service");
    let unit = text("tenths.service").replace("/usr/local/bin/tenths serve", "/bin/true serve");
    std::fs::write(&copy, unit).unwrap();
    let told = run_well(systemd.arg("verify").arg("--man=no").arg(&copy));
    let about_ours: Vec<_> = told.lines().filter(|line| line.contains("tenths")).collect();
    assert!(about_ours.is_empty(), "{about_ours:#?}");
}

#[test]
fn the_unit_gives_up_what_it_does_not_need() {
    let Some(mut systemd) = tool("systemd-analyze", "exposure of the service unit", PACKAGE) else { return };
    let threshold = format!("--threshold={EXPOSURE_MOST}");
    let told = run_well(systemd.args(["security", "--offline=true", &threshold]).arg(file("tenths.service")));
    assert!(told.contains("Overall exposure level for tenths.service"), "{told}");
}

#[test]
fn the_check_of_exposure_can_fail() {
    let Some(mut systemd) = tool("systemd-analyze", "exposure of the service unit", PACKAGE) else { return };
    let folder = tempfile::tempdir().unwrap();
    let open = folder.path().join("open.service");
    std::fs::write(&open, "[Service]\nExecStart=/bin/true\n").unwrap();
    let threshold = format!("--threshold={EXPOSURE_MOST}");
    let (output, told) = run(systemd.args(["security", "--offline=true", &threshold]).arg(open));
    assert!(!output.status.success(), "{told}");
}
