//! The question families: what they ask, how many questions they hold, and samples.

use std::sync::OnceLock;

use actix_web::{HttpResponse, web};
use qbank::bank;
use qbank::family::{Counted, Family};
use qbank::locale::Language;
use qbank::misconceptions;
use qbank::question::{Item, StepKind};
use serde::Deserialize;

use super::{DistrictSession, board, shown};
use crate::handlers::answer::PageError;
use crate::pages::board::{Cell, Field, Form, Section, Table};
use crate::texts::Texts;

/// Kinds of answer in the order in which they are listed.
pub(super) const KINDS: [StepKind; 4] =
    [StepKind::Number, StepKind::Choice, StepKind::Order, StepKind::Words];

/// The message that names a kind of answer.
pub(super) fn kind_message(kind: StepKind) -> &'static str {
    match kind {
        StepKind::Number => "content-kind-number",
        StepKind::Choice => "content-kind-choice",
        StepKind::Order => "content-kind-order",
        StepKind::Words => "content-kind-words",
    }
}

/// Samples on a page.
const SAMPLES: usize = 3;

/// A family with what is counted and sampled of it.
pub(super) struct Shelved {
    pub(super) family: Family,
    /// The least and the greatest level of difficulty in a sample.
    levels: (u8, u8),
    /// Positions, digits grouped by nobody.
    capacity: String,
}

/// All families of the starter bank. They are read and sampled once, at the first look.
pub(super) async fn shelf() -> Result<&'static [Shelved], PageError> {
    static SHELF: OnceLock<Vec<Shelved>> = OnceLock::new();
    if let Some(shelf) = SHELF.get() {
        return Ok(shelf);
    }
    let made = web::block(make_shelf).await.map_err(|error| PageError::Record(error.to_string()))??;
    Ok(SHELF.get_or_init(|| made))
}

fn make_shelf() -> Result<Vec<Shelved>, PageError> {
    let families = bank::families().map_err(|error| PageError::Record(error.to_string()))?;
    let shelved = |family: Family| {
        let telling = family.telling().map_err(|error| PageError::Record(error.to_string()))?;
        let capacity = family.capacity().to_string();
        Ok(Shelved { family, levels: telling.levels, capacity })
    };
    families.into_iter().map(shelved).collect()
}

impl Shelved {
    /// The title in the reader's language, or in the first one that there is.
    fn title(&self, texts: &Texts) -> &str {
        let of_reader = self
            .family
            .texts
            .iter()
            .find(|(locale, _)| Language::of_locale(locale) == Some(texts.language()));
        of_reader.or_else(|| self.family.texts.iter().next()).map_or("", |(_, told)| told.title.as_str())
    }

    /// The capacity in honest words.
    fn holds(&self, texts: &Texts) -> String {
        let capacity = match self.capacity.parse::<u64>() {
            Ok(count) => texts.number(count),
            Err(_) => self.capacity.clone(),
        };
        let message = match self.family.counted() {
            Counted::Questions => "content-holds-questions",
            Counted::Numbers => "content-holds-numbers",
            _ => "content-holds-bound",
        };
        texts.with(message, &[("count", capacity.into())])
    }

    /// The kinds of answer that its steps ask for.
    fn kinds(&self, texts: &Texts) -> String {
        let asks = |kind: &StepKind| self.family.steps.iter().any(|step| step.kind == *kind);
        let told = KINDS.into_iter().filter(asks).map(|kind| texts.say(kind_message(kind)));
        told.collect::<Vec<_>>().join(", ")
    }

    /// Its title as a link, its kinds of answer, its levels, and how much it holds.
    pub(super) fn cells(&self, texts: &Texts) -> Vec<Cell> {
        vec![
            Cell::Link(format!("/district/families/{}", self.family.id), self.title(texts).to_owned()),
            Cell::Text(self.kinds(texts)),
            Cell::Text(self.levels_told()),
            Cell::Text(self.holds(texts)),
        ]
    }

    fn levels_told(&self) -> String {
        let (from, to) = self.levels;
        if from == to { from.to_string() } else { format!("{from}\u{2013}{to}") }
    }
}

/// What is looked for.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    /// A curriculum code.
    #[serde(default)]
    code: String,
    /// A level.
    #[serde(default)]
    level: String,
}

/// All curriculum codes, in order.
pub(super) fn codes(shelf: &[Shelved]) -> Vec<String> {
    let all = shelf.iter().flat_map(|shelved| &shelved.family.standards);
    let all: std::collections::BTreeSet<&str> = all.map(AsRef::as_ref).collect();
    all.into_iter().map(str::to_owned).collect()
}

/// Choices with an empty one first.
pub(super) fn options(any: String, values: &[String], chosen: &str) -> Vec<(String, String, bool)> {
    let first = (String::new(), any, chosen.is_empty());
    let rest = values.iter().map(|value| (value.clone(), value.clone(), value == chosen));
    std::iter::once(first).chain(rest).collect()
}

/// The levels of difficulty as choices.
pub(super) fn levels() -> Vec<String> {
    (1..=5).map(|level| level.to_string()).collect()
}

/// GET: the families.
pub(crate) async fn list(
    session: DistrictSession,
    wanted: web::Query<Wanted>,
) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let shelf = shelf().await?;
    let level = wanted.level.parse::<u8>().ok();
    let fits = |shelved: &&Shelved| {
        let code = wanted.code.is_empty() || shelved.family.standards.iter().any(|code| *code == wanted.code);
        code && level.is_none_or(|level| shelved.levels.0 <= level && level <= shelved.levels.1)
    };
    let row = |shelved: &Shelved| {
        let mut row = shelved.cells(texts);
        row.insert(1, Cell::Text(shelved.family.standards.join(", ")));
        row
    };
    let rows: Vec<_> = shelf.iter().filter(fits).map(row).collect();
    let columns = [
        "content-column-family",
        "content-column-codes",
        "content-column-kinds",
        "content-column-level",
        "content-column-holds",
    ];
    let found = texts.with("content-families-found", &[("count", rows.len().into())]);
    let table = Table::new(
        texts.say("content-families"),
        columns.map(|column| texts.say(column)).to_vec(),
        rows,
        texts.say("content-families-none"),
    );
    let search = Form::get(
        "/district/families",
        texts.say("content-search"),
        vec![
            Field::choice(
                "code",
                texts.say("content-code"),
                options(texts.say("content-any"), &codes(shelf), &wanted.code),
            ),
            Field::choice(
                "level",
                texts.say("content-level"),
                options(texts.say("content-any"), &levels(), &wanted.level),
            ),
        ],
    );
    let sections = vec![
        Section::new("search", texts.say("content-choose")).form(search),
        Section::new("found", found).table(table),
    ];
    shown(&board(&session, "/district/families", texts.say("content-families"), sections))
}

/// Which samples are shown.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Sampling {
    /// Draws them.
    #[serde(default)]
    seed: String,
}

/// GET: one family with samples.
pub(crate) async fn show(
    session: DistrictSession,
    path: web::Path<String>,
    sampling: web::Query<Sampling>,
) -> Result<HttpResponse, PageError> {
    let texts = Texts::of_reader();
    let shelved =
        shelf().await?.iter().find(|shelved| shelved.family.id == *path).ok_or(PageError::NotFound)?;
    let family = &shelved.family;
    let locales = || family.texts.keys().map(String::as_str);
    let locale = locales().find(|locale| Language::of_locale(locale) == Some(texts.language()));
    let locale = locale.or_else(|| locales().next()).ok_or(PageError::NotFound)?;
    let seed = if sampling.seed.is_empty() { "1" } else { crate::shorten_plain(&sampling.seed, 40) };
    let drawn: Result<Vec<Item>, _> = family.draws(seed, 0, locale).take(SAMPLES).collect();
    let drawn = drawn.map_err(|error| PageError::Record(error.to_string()))?;
    let next = seed.parse::<u32>().unwrap_or(0).wrapping_add(1);
    let facts = Section {
        facts: vec![
            (texts.say("content-column-codes"), family.standards.join(", ")),
            (texts.say("content-column-kinds"), shelved.kinds(texts)),
            (texts.say("content-column-level"), shelved.levels_told()),
            (texts.say("content-column-holds"), shelved.holds(texts)),
            (texts.say("content-name"), family.id.to_string()),
        ],
        ..Section::new("about", texts.say("content-about"))
    };
    let samples = Section {
        texts: vec![texts.say("content-samples-about")],
        folds: Vec::new(),
        ..Section::new("samples", texts.say("content-samples"))
    }
    .link(format!("/district/families/{}?seed={next}", family.id), texts.say("content-more-samples"));
    let mut sections = vec![facts, samples];
    let ids = ["sample-1", "sample-2", "sample-3"];
    sections.extend(drawn.iter().zip(ids).zip(1_u32..).map(|((item, id), number)| {
        let heading = texts.with("content-sample", &[("number", number.into())]);
        question(id, heading, item, texts)
    }));
    shown(&board(&session, "/district/families", shelved.title(texts).to_owned(), sections))
}

/// A question with its answers behind a fold.
pub(super) fn question(id: &'static str, heading: String, item: &Item, texts: &Texts) -> Section {
    let mut told: Vec<String> = item.stem.lines().map(str::to_owned).collect();
    let mut answers = Vec::new();
    for step in &item.steps {
        let choices: Vec<&str> = step.choices.iter().map(|choice| choice.text.as_str()).collect();
        told.push(if choices.is_empty() {
            step.prompt.to_string()
        } else {
            format!("{} ({})", step.prompt, choices.join(" / "))
        });
        answers.push(texts.with(
            "content-answer",
            &[
                ("prompt", step.prompt.as_str().into()),
                ("answer", shown_answer(step, &step.answer.to_string()).into()),
            ],
        ));
        for wrong in &step.predicted {
            let names: Vec<&str> = wrong
                .misconception
                .split(" | ")
                .map(|id| misconceptions::find(id).map_or(id, |known| known.shown_as(texts.language())))
                .collect();
            answers.push(texts.with(
                "content-wrong",
                &[
                    ("answer", shown_answer(step, &wrong.answer.to_string()).into()),
                    ("names", names.join(" / ").into()),
                ],
            ));
        }
    }
    Section { texts: told, folds: vec![(texts.say("content-answers"), answers)], ..Section::new(id, heading) }
}

/// A choice by its text; anything else as it is.
fn shown_answer(step: &qbank::question::Step, answer: &str) -> String {
    step.choices
        .iter()
        .find(|choice| choice.id == answer)
        .map_or_else(|| answer.to_owned(), |choice| choice.text.to_string())
}
