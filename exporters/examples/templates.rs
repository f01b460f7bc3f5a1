//! Tells which families of the starter bank become items that a platform varies itself, and why the others do not.
use std::io::{self, Write};

use exporters::qti::{Solution, template::map_family};
use qbank::bank;

fn main() -> io::Result<()> {
    let mut out = io::stdout().lock();
    let families = bank::families().map_err(|errors| io::Error::other(errors.to_string()))?;
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
                for left_out in &template.left_out {
                    writeln!(out, "    {left_out}")?;
                }
            }
            Err(refusal) => writeln!(out, "{}: fixed, because {refusal}", family.id)?,
        }
    }
    writeln!(out, "{expressed} of {} families are templates", families.len())
}
