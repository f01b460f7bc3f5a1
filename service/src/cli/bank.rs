//! The families that commands work with: the starter bank, and a coordinator's own files beside it.
use std::{
    collections::BTreeSet,
    path::{Path, PathBuf},
};

use anyhow::{Context, bail};
use qbank::family::Family;

/// Where families come from.
#[derive(Debug, Default, clap::Args)]
pub(super) struct BankArguments {
    /// A folder with family files (*.toml) of your own, beside the starter bank
    #[arg(long, value_name = "DIR")]
    bank: Option<PathBuf>,
}

impl BankArguments {
    /// All families: the starter bank's first, then the folder's by name.
    ///
    /// # Errors
    /// If a file cannot be read or is at fault (all faults of all files are told), or two families share a name.
    pub(super) fn families(&self) -> anyhow::Result<Vec<Family>> {
        let mut families = qbank::bank::families()?;
        let Some(folder) = &self.bank else {
            return Ok(families);
        };
        let mut faults = Vec::new();
        for path in family_files(folder)? {
            let text =
                std::fs::read_to_string(&path).with_context(|| format!("cannot read {}", path.display()))?;
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            match Family::from_toml(&name, &text) {
                Ok(family) if families.iter().any(|known| known.id == family.id) => {
                    faults.push(format!("{name}: the name '{}' is taken by another family", family.id));
                }
                Ok(family) => families.push(family),
                Err(errors) => faults.push(errors.to_string()),
            }
        }
        if !faults.is_empty() {
            bail!("{}: family files are at fault\n{}", folder.display(), faults.join("\n"));
        }
        Ok(families)
    }

    /// At least the families of these names, as far as there are any. Those of the starter bank are found without
    /// reading the others.
    ///
    /// # Errors
    /// As [`BankArguments::families`].
    pub(super) fn named(&self, names: &BTreeSet<&str>) -> anyhow::Result<Vec<Family>> {
        let starts = |name: &&str| qbank::bank::FILES.iter().any(|(known, _)| known == name);
        if !names.iter().all(starts) {
            return self.families();
        }
        Ok(names.iter().map(|name| qbank::bank::family(name)).collect::<Result<_, _>>()?)
    }

    /// The family of that name. One of the starter bank is found without reading the others.
    ///
    /// # Errors
    /// As [`BankArguments::families`], or if there is none.
    pub(super) fn family(&self, name: &str) -> anyhow::Result<Family> {
        if qbank::bank::FILES.iter().any(|(known, _)| *known == name) {
            return Ok(qbank::bank::family(name)?);
        }
        let families = self.families()?;
        let known = families.iter().map(|family| family.id.as_str()).collect::<Vec<_>>().join(", ");
        let found = families.into_iter().find(|family| family.id == name);
        found.with_context(|| format!("there is no family '{name}'; there are {known}"))
    }
}

fn family_files(folder: &Path) -> anyhow::Result<Vec<PathBuf>> {
    let entries =
        std::fs::read_dir(folder).with_context(|| format!("cannot read the folder {}", folder.display()))?;
    let mut files = Vec::new();
    for entry in entries {
        let path = entry?.path();
        if path.extension().is_some_and(|ending| ending == "toml") {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}
