//! Outside tools that a flow needs: a missing one is a named skip on a person's machine and a failure with `CI=true`.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The repository's root.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the package lies in the repository").to_owned()
}

/// A command of the published schemas' `check-package`, if it is here and can run.
pub fn check_package() -> Option<Command> {
    let folder = std::env::var_os("STANDARDS_DIR")
        .map_or_else(|| root().join("../shared/standards"), |folder| root().join(folder));
    let path = folder.join("check-package");
    if !path.is_file() {
        return missing(&format!("there is no check-package in {}", folder.display()));
    }
    if !runs("python3", &["-c", "import lxml"]) {
        return missing("check-package needs Python with lxml");
    }
    let mut command = Command::new("python3");
    command.arg(path);
    Some(command)
}

/// A command of Python's, with nothing but its standard library needed.
pub fn python() -> Option<Command> {
    if runs("python3", &["--version"]) {
        Some(Command::new("python3"))
    } else {
        missing("python3 is not installed")
    }
}

/// A command of Python's with a package, for a check of that name.
pub fn python_with(package: &str, check: &str) -> Option<Command> {
    if runs("python3", &["-c", &format!("import {package}")]) {
        return Some(Command::new("python3"));
    }
    crate::skip(check, &format!("Python has no package {package}"));
    None
}

/// Whether a program can be found by the search path.
pub fn installed(program: &str) -> bool {
    std::env::var_os("PATH")
        .is_some_and(|folders| std::env::split_paths(&folders).any(|folder| folder.join(program).is_file()))
}

fn runs(program: &str, arguments: &[&str]) -> bool {
    let run = Command::new(program).args(arguments).stdout(Stdio::null()).stderr(Stdio::null()).status();
    run.is_ok_and(|status| status.success())
}

/// Skips, and has no command to give.
fn missing(why: &str) -> Option<Command> {
    crate::skip("a check with an outside tool", why);
    None
}
