//! The form of an open attempt, filled in as a pupil may fill it in. It reads our own pages only, which are well-formed.

use anyhow::{Context as _, ensure};

/// Names and values in the order of the page.
pub(crate) type Form = Vec<(String, String)>;

/// What pupils type: right for hardly any question, so that predicted wrong answers are looked through.
const TYPED: [&str; 4] = ["12.4", "3.05", "0.75", "118"];

/// The value of a hidden field of that name.
pub(crate) fn hidden(page: &str, name: &str) -> anyhow::Result<String> {
    let inputs = tags(page).filter(|tag| tag.starts_with("input "));
    let found =
        inputs.filter(|tag| attribute(tag, "name") == Some(name)).find_map(|tag| attribute(tag, "value"));
    found.map(str::to_owned).with_context(|| format!("the page has no field {name}: {page}"))
}

/// The fields of the page's form with an answer in each, and the word that nothing was forgotten.
pub(crate) fn filled_in(page: &str) -> anyhow::Result<Form> {
    let (_, form) = page.split_once("<form method=\"post\"").context("the page has a form")?;
    let (form, _) = form.split_once("</form>").context("the form ends")?;
    let (mut fields, mut chosen) = (Form::new(), None);
    for tag in tags(form) {
        let name = attribute(tag, "name").unwrap_or_default().to_owned();
        let value = attribute(tag, "value").unwrap_or_default().to_owned();
        if tag.starts_with("select ") {
            chosen = Some(Choosing { before: place(&name)?, name });
        } else if tag.starts_with("option ") && !value.is_empty() {
            if let Some(choosing) = chosen.take() {
                match choosing.before {
                    0 => fields.push((choosing.name, value)),
                    before => chosen = Some(Choosing { before: before - 1, ..choosing }),
                }
            }
        } else if tag.starts_with("input ") {
            match attribute(tag, "type") {
                Some("hidden") => fields.push((name, value)),
                Some("radio") if fields.iter().all(|(known, _)| *known != name) => fields.push((name, value)),
                Some("text") => fields.push((name, TYPED[fields.len() % TYPED.len()].to_owned())),
                _ => {}
            }
        }
    }
    ensure!(fields.iter().any(|(name, _)| name.starts_with("q1.")), "the form asks no question: {form}");
    fields.push(("allow_empty".into(), "yes".into()));
    Ok(fields)
}

/// A list of choices that was begun: its name, and how many choices come before the one that is taken.
struct Choosing {
    name: String,
    before: usize,
}

/// `q7.order.2` takes the second choice, so that each choice has another place.
fn place(name: &str) -> anyhow::Result<usize> {
    let number: usize = name.rsplit('.').next().context("a name has a last part")?.parse()?;
    number.checked_sub(1).context("places are counted from 1")
}

/// What stands between `<` and `>`.
fn tags(page: &str) -> impl Iterator<Item = &str> {
    page.split('<').skip(1).filter_map(|tag| tag.split('>').next())
}

fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    let (_, value) = tag.split_once(&format!(" {name}=\""))?;
    value.split('"').next()
}
