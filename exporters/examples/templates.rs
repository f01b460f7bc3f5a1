//! Tells which families of the starter bank become items that a platform varies itself, and why the others do not.
//! With the name of a folder, the items are written there.
use std::{
    fs::File,
    io::{self, Write},
    path::PathBuf,
};

use exporters::qti::{QtiVersion, Solution, template::map_family, write::write_item};
use qbank::bank;

fn main() -> io::Result<()> {
    let mut out = io::stdout().lock();
    let families = bank::families().map_err(|errors| io::Error::other(errors.to_string()))?;
    let folder = std::env::args_os().nth(1).map(PathBuf::from);
    let mut expressed = 0;
    for family in &families {
        match map_family(family, "en-US", Solution::AfterLastAttempt, 1) {
            Ok(template) => {
                expressed += 1;
                let variables = template.item.templates.len();
                writeln!(
                    out,
                    "{}: a template, {variables} variables, {} of 100 draws fit",
                    family.id, template.share
                )?;
                if let Some(folder) = &folder {
                    let file = File::create(folder.join(format!("{}.xml", family.id)))?;
                    let dialect = QtiVersion::V30.dialect();
                    write_item(file, dialect, &template.item).map_err(io::Error::other)?;
                }
                for left_out in &template.left_out {
                    writeln!(out, "    {left_out}")?;
                }
            }
            Err(refusal) => writeln!(out, "{}: fixed, because {refusal}", family.id)?,
        }
    }
    writeln!(out, "{expressed} of {} families are templates", families.len())
}
