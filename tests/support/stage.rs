//! The service as a process of its own, with a store in a folder, beside a school that has placed a quiz.

use std::path::{Path, PathBuf};

use service::practice::Person;
use tempfile::TempDir;

use crate::program::{Served, free_port, run_well};
use crate::school::{PLAN, School};

/// A placed quiz, with everything around it.
pub struct Stage {
    /// The platform and its people.
    pub school: School,
    served: Served,
    port: u16,
    folder: TempDir,
}

impl Stage {
    /// Registers the platform, loads the pool, starts the service, and lets the teacher place the quiz: each as
    /// coordinator and teacher do.
    ///
    /// # Panics
    /// If any of it does not work; so for all that follows.
    pub async fn set() -> Self {
        Self::set_with(&[]).await
    }

    /// The same, with more options of the service.
    ///
    /// # Panics
    /// As [`Stage::set`].
    pub async fn set_with(options: &[&str]) -> Self {
        let port = free_port();
        let school = School::open(&format!("http://127.0.0.1:{port}")).await;
        Self::set_for(school, port, options).await
    }

    /// The same with these pupils.
    ///
    /// # Panics
    /// As [`Stage::set`].
    pub async fn set_with_pupils(pupils: Vec<Person>) -> Self {
        let port = free_port();
        let school = School::open_for(&format!("http://127.0.0.1:{port}"), pupils).await;
        Self::set_for(school, port, &[]).await
    }

    async fn set_for(school: School, port: u16, options: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a folder can be made");
        let store = store_in(&folder);
        school.register(&store, &school.practice.registration().deployment_id);
        run_well(["load", path(&pool_file(&folder, "river-day-1")), "--store", &store]);
        let served = Served::start_with(port, &store, &log_in(&folder), options).await;
        school.place_quiz().await;
        Self { school, served, port, folder }
    }

    /// The service's store, as commands take it.
    pub fn store(&self) -> String {
        store_in(&self.folder)
    }

    /// Where the service answers.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// A file with the pool, drawn by that seed.
    pub fn pool_file(&self, seed: &str) -> PathBuf {
        pool_file(&self.folder, seed)
    }

    /// Everything that the service has logged.
    pub fn log(&self) -> String {
        std::fs::read_to_string(log_in(&self.folder)).expect("the log can be read")
    }

    /// Whether that text stands anywhere in the files of store and log, byte for byte.
    ///
    /// # Panics
    /// If they cannot be read.
    pub fn files_hold(&self, text: &str) -> bool {
        let files = std::fs::read_dir(self.folder.path()).expect("the folder can be read");
        files.map(|file| file.expect("its entries, too").path()).any(|file| {
            let bytes = std::fs::read(file).expect("the service's files can be read");
            bytes.windows(text.len()).any(|window| window == text.as_bytes())
        })
    }

    /// Kills the service as a power cut does, does something, and starts it again at the same address on the same
    /// store.
    pub async fn die_and_restart(&mut self, meanwhile: impl FnOnce(&School)) {
        self.kill();
        meanwhile(&self.school);
        self.restart().await;
    }

    /// Kills the service as a power cut does.
    pub fn kill(&mut self) {
        self.served.kill();
    }

    /// Starts the service again at the same address on the same store.
    pub async fn restart(&mut self) {
        self.served = Served::start(self.port, &self.store(), &log_in(&self.folder)).await;
    }
}

fn store_in(folder: &TempDir) -> String {
    format!("sqlite:{}", folder.path().join("tenths.db").display())
}

fn log_in(folder: &TempDir) -> PathBuf {
    folder.path().join("service.log")
}

fn pool_file(folder: &TempDir, seed: &str) -> PathBuf {
    let (plan, pool) = (folder.path().join("plan.toml"), folder.path().join("pool.json"));
    std::fs::write(&plan, PLAN).expect("a plan can be written");
    run_well(["pool", path(&plan), "--seed", seed, "-o", path(&pool)]);
    pool
}

fn path(path: &Path) -> &str {
    path.to_str().expect("folders for temporary files have plain names")
}
