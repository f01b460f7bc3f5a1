//! From a plan to a package: `tenths pool` and `tenths export`, judged by the published schemas.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use conformance::program::{run, run_well};
use conformance::tools;

/// A plan with a section of every family in the bank.
fn plan_of_everything() -> String {
    let mut plan =
        "pool = \"river-day\"\ntitle = \"River day: all families\"\nseed = \"river-day-1\"\n".to_owned();
    for family in qbank::bank::families().unwrap() {
        let id = family.id;
        writeln!(plan, "[[section]]\ntitle = \"{id}\"\nfamily = \"{id}\"\ncount = 8\npick = 2").unwrap();
    }
    plan
}

/// Makes pool and package in a folder of their own; returns both files.
fn make(folder: &Path, name: &str, seed: &[&str]) -> (PathBuf, PathBuf) {
    let at = |ending: &str| folder.join(format!("{name}.{ending}"));
    let (plan, pool) = (at("toml"), at("json"));
    fs::write(&plan, plan_of_everything()).unwrap();
    let plan = plan.to_str().unwrap();
    run_well(["pool", plan, "-o", pool.to_str().unwrap()].iter().chain(seed));
    let package = export(&pool, "qti3");
    (pool, package)
}

fn export(pool: &Path, format: &str) -> PathBuf {
    let package = pool.with_extension(format!("{format}.zip"));
    run_well(["export", pool.to_str().unwrap(), "--as", format, "-o", package.to_str().unwrap()]);
    package
}

#[test]
fn one_seed_gives_the_same_bytes_and_another_seed_gives_others() {
    let folder = tempfile::tempdir().unwrap();
    let read = |(pool, package)| (fs::read(pool).unwrap(), fs::read(package).unwrap());
    let first = read(make(folder.path(), "first", &[]));
    let second = read(make(folder.path(), "second", &[]));
    let other = read(make(folder.path(), "other", &["--seed", "river-day-2"]));
    assert!(first == second, "two runs with one seed differ");
    assert!(first.0 != other.0 && first.1 != other.1, "another seed gives the same bytes");
}

#[test]
fn check_package_finds_nothing_in_packages_of_all_families() {
    let Some(mut check) = tools::check_package() else { return };
    let folder = tempfile::tempdir().unwrap();
    let (pool, package) = make(folder.path(), "all", &[]);
    let older = ["qti22", "qti21"].map(|format| export(&pool, format));
    let checked = check.arg(&package).args(&older).output().unwrap();
    let said = String::from_utf8_lossy(&checked.stdout);
    assert!(checked.status.success(), "{said}{}", String::from_utf8_lossy(&checked.stderr));
    let last = said.lines().last().unwrap_or_default();
    assert!(last.ends_with(" 0 problems") && !last.starts_with("0 files"), "{said}");
}

#[test]
fn a_cartridge_of_all_families_is_clean_links_to_the_live_quiz_and_tells_what_it_loses() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (plan, pool) = (at("plan.toml"), at("pool.json"));
    fs::write(&plan, plan_of_everything().replace("count = 8", "count = 2")).unwrap();
    run_well(["pool", &plan, "-o", &pool]);
    let export = |name: &str| {
        let url = ["--launch-url", "https://tool.example/lti/launch"];
        let ended = run(["export", &pool, "--as", "cartridge", "-o", &at(name)].into_iter().chain(url));
        assert_eq!(ended.code, 0, "{}", ended.stderr);
        ended.stderr
    };
    let told = export("first.imscc");
    export("second.imscc");
    assert!(fs::read(at("first.imscc")).unwrap() == fs::read(at("second.imscc")).unwrap());
    assert!(told.contains("no follow-through, because every step is an item of its own"), "{told}");
    let mut package = zip::ZipArchive::new(fs::File::open(at("first.imscc")).unwrap()).unwrap();
    let link = std::io::read_to_string(package.by_name("links/live-quiz.xml").unwrap()).unwrap();
    assert!(link.contains("<lticm:property name=\"pool\">river-day</lticm:property>"), "{link}");
    if let Some(mut check) = tools::check_package() {
        let checked = check.arg(at("first.imscc")).output().unwrap();
        assert!(checked.status.success(), "{}", String::from_utf8_lossy(&checked.stdout));
    }
    let refused =
        run(["export", &pool, "--as", "qti3", "-o", &at("x.zip"), "--launch-url", "https://tool.example"]);
    assert_eq!(refused.code, 1);
    let refused = run([
        "export",
        &pool,
        "--as",
        "cartridge",
        "-o",
        &at("x.zip"),
        "--launch-url",
        "http://tool.example",
    ]);
    assert_eq!(refused.code, 2);
}
