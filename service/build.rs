//! How the program is linked: smaller, where the linker can.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    let is = |name: &str, value: &str| std::env::var(name).is_ok_and(|found| found == value);
    // Rust's own linker, which is the usual one on this target, and a C library from 2.36 on (Debian 12).
    if is("TARGET", "x86_64-unknown-linux-gnu") && is("PROFILE", "release") {
        // Functions that came out alike stand in the file once.
        println!("cargo::rustc-link-arg-bins=-Wl,--icf=safe");
        // Places that move with the program are listed by runs, not one by one.
        println!("cargo::rustc-link-arg-bins=-Wl,-z,pack-relative-relocs");
        // Names of functions are a seventh of the file. To profile, build with `--config profile.release.debug=1`.
        if is("DEBUG", "false") {
            println!("cargo::rustc-link-arg-bins=-Wl,--strip-all");
        }
    }
}
