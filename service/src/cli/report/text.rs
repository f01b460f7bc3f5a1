//! The report for people: what to look at first, then the tables.
//!
//! Pupils' answers are never called what a pupil *is*: they are 'consistent with' something. Facility and discrimination
//! are told with how far they can be trusted.
use std::io::{self, Write};

use qbank::{
    misconceptions::{self, JOINT},
    pool::Pool,
    statistics::{
        ClassPattern, Figure, GroupStatistics, PupilPatterns, ROUGH_CORRELATION, ROUGH_FACILITY, Reason,
        Statistics, StepFigures, StepStatistics, Told, VerdictCounts,
    },
};

use super::NextQuestions;
use crate::judgement::PupilDiagnosis;

/// Writes the report.
///
/// # Errors
/// If it cannot be written.
pub(super) fn write(
    out: &mut impl Write,
    statistics: &Statistics,
    diagnoses: Option<&[PupilDiagnosis]>,
    next: Option<&NextQuestions>,
    pool: Option<&Pool>,
) -> io::Result<()> {
    if let Some(pool) = pool {
        writeln!(out, "{}", pool.title)?;
    }
    writeln!(out, "{} of {}", counted(statistics.marks, "answer"), counted(statistics.pupils, "pupil"))?;
    if statistics.repeated > 0 {
        let repeated = statistics.repeated;
        writeln!(
            out,
            "{repeated} later answers of a pupil to the same question are left out: the first counts"
        )?;
    }
    match &statistics.verdicts {
        Told::Given(verdicts) => writeln!(out, "Steps: {}", verdict_words(verdicts))?,
        Told::Withheld { withheld } => writeln!(out, "Steps: {}", not_told(*withheld))?,
    }
    if let Some(diagnoses) = diagnoses {
        judged(out, diagnoses)?;
    }
    if let Some(next) = next {
        ask_next(out, next)?;
    }
    class(out, &statistics.class)?;
    pupils(out, &statistics.by_pupil)?;
    families(out, &statistics.families)?;
    questions(out, &statistics.questions, pool)?;
    groups(out, "Pupils with the same questions", &statistics.forms, statistics.ungrouped.forms)?;
    groups(out, "Pupils with questions of the same families", &statistics.alike, statistics.ungrouped.alike)
}

fn heading(out: &mut impl Write, text: &str) -> io::Result<()> {
    writeln!(out, "\n{text}\n{}", "-".repeat(text.chars().count()))
}

/// `1 pupil`, `2 pupils`.
fn counted(count: u64, one: &str) -> String {
    format!("{count} {one}{}", if count == 1 { "" } else { "s" })
}

fn not_told(reason: Reason) -> String {
    format!("not told ({reason})")
}

fn verdict_words(verdicts: &VerdictCounts) -> String {
    let judged = [
        (verdicts.correct, "right"),
        (verdicts.follow_through, "right from the own earlier value"),
        (verdicts.right_value_wrong_form, "right value in another form"),
        (verdicts.wrong, "not right"),
        (verdicts.unreadable, "unreadable"),
        (verdicts.blank, "blank"),
    ];
    let told = judged.iter().filter(|(count, _)| *count > 0).map(|(count, word)| format!("{count} {word}"));
    told.collect::<Vec<_>>().join(", ")
}

/// What to look at first: whose answers together bear a name.
fn judged(out: &mut impl Write, diagnoses: &[PupilDiagnosis]) -> io::Result<()> {
    heading(out, "Judged from all answers of a pupil together")?;
    if diagnoses.is_empty() {
        writeln!(out, "nobody's answers bear a name yet")?;
    }
    for PupilDiagnosis { pupil, says, next, .. } in diagnoses {
        writeln!(out, "{pupil}: {says}")?;
        for idea in next {
            writeln!(out, "             next: {idea}")?;
        }
    }
    Ok(())
}

/// What to ask next, for the class with its story, for each pupil by the questions' ids.
fn ask_next(out: &mut impl Write, next: &NextQuestions) -> io::Result<()> {
    heading(out, "To ask next: the answers would tell most")?;
    for question in &next.class {
        writeln!(out, "the class: {} ({})", question.title, question.question)?;
        writeln!(out, "    {}", question.stem)?;
        question.prompts.iter().try_for_each(|prompt| writeln!(out, "    {prompt}"))?;
        let shows: Vec<String> = question.shows.iter().map(|id| named(id)).collect();
        writeln!(out, "    would show: {}", shows.join("; "))?;
    }
    for (pupil, questions) in &next.pupils {
        let ids: Vec<&str> = questions.iter().map(|question| question.question.as_str()).collect();
        let ids = if ids.is_empty() { "no question of the pool is left".into() } else { ids.join(", ") };
        writeln!(out, "{pupil}: {ids}")?;
    }
    Ok(())
}

fn class(out: &mut impl Write, patterns: &Told<Vec<ClassPattern>>) -> io::Result<()> {
    heading(out, "Class: answers consistent with …")?;
    match patterns {
        Told::Withheld { withheld } => writeln!(out, "{}", not_told(*withheld)),
        Told::Given(patterns) if patterns.is_empty() => writeln!(out, "no misconception that is known here"),
        Told::Given(patterns) => {
            for ClassPattern { misconception, pupils, steps } in patterns {
                let (pupils, steps) = (counted(*pupils, "pupil"), counted(*steps, "step"));
                writeln!(out, "{pupils:>12}, {steps}: {}", named(misconception))?;
                for next in
                    misconception.split(JOINT).filter_map(misconceptions::find).map(|known| known.next)
                {
                    writeln!(out, "             next: {next}")?;
                }
            }
            Ok(())
        }
    }
}

/// The names of misconceptions, 'or' between those that an answer does not tell apart.
fn named(joined: &str) -> String {
    let names = joined.split(JOINT).map(|id| misconceptions::find(id).map_or(id, |known| known.name));
    names.collect::<Vec<_>>().join(", or ")
}

fn pupils(out: &mut impl Write, pupils: &[PupilPatterns]) -> io::Result<()> {
    heading(out, "Pupils: answers consistent with …")?;
    for pupil in pupils {
        write!(out, "{}: {} of {} points", pupil.pupil, pupil.points, pupil.max)?;
        for (count, word) in [(pupil.blank, "blank"), (pupil.unreadable, "unreadable")] {
            if count > 0 {
                write!(out, ", {count} of {} steps {word}", pupil.steps)?;
            }
        }
        writeln!(out)?;
        for pattern in &pupil.consistent_with {
            let steps = counted(pattern.steps, "step");
            writeln!(out, "{steps:>12}: {}", named(&pattern.misconception))?;
        }
    }
    Ok(())
}

fn families(out: &mut impl Write, families: &[StepStatistics]) -> io::Result<()> {
    heading(out, "Families")?;
    for step in families {
        let family = step.family.as_deref().unwrap_or_default();
        let (answers, pupils) = (counted(step.answers, "answer"), counted(step.pupils, "pupil"));
        writeln!(out, "{family}, step {}: {answers} of {pupils}", step.step)?;
        figures(out, step)?;
    }
    Ok(())
}

fn questions(out: &mut impl Write, questions: &[StepStatistics], pool: Option<&Pool>) -> io::Result<()> {
    heading(out, "Questions")?;
    // Where every pupil has other numbers there are thousands of these.
    let told = questions.iter().filter(|step| step.figures.given().is_some());
    let mut left = questions.len();
    for step in told {
        left -= 1;
        let id = step.question.as_deref().unwrap_or_default();
        writeln!(out, "{id}, step {}: {}", step.step, counted(step.pupils, "pupil"))?;
        let item = pool.and_then(|pool| pool.item(id));
        if let Some(asked) = item.and_then(|item| item.steps.iter().find(|asked| asked.id == step.step)) {
            writeln!(out, "    {}", asked.prompt)?;
        }
        figures(out, step)?;
    }
    if left > 0 {
        writeln!(out, "{} {}", counted(left as u64, "step"), not_told(Reason::FewerThan10Pupils))?;
    }
    Ok(())
}

fn figures(out: &mut impl Write, step: &StepStatistics) -> io::Result<()> {
    let figures = match &step.figures {
        Told::Given(figures) => figures,
        Told::Withheld { withheld } => return writeln!(out, "    {}", not_told(*withheld)),
    };
    let StepFigures { facility, interval_95: (low, high), verdicts, distractors, otherwise_wrong, choices } =
        figures;
    let rough = if step.pupils < ROUGH_FACILITY { ", rough" } else { "" };
    let [facility, low, high] = [facility, low, high].map(|figure| figure.written(2));
    writeln!(out, "    facility {facility} (95 %: {low} to {high}{rough}); {}", verdict_words(verdicts))?;
    for one in distractors.iter().filter(|one| one.count > 0) {
        let answer = one.answer.as_ref().map_or(String::new(), |answer| format!(" ({answer})"));
        writeln!(out, "    {:>5} consistent with {}{answer}", one.count, named(&one.misconception))?;
    }
    if *otherwise_wrong > 0 {
        writeln!(out, "    {otherwise_wrong:>5} wrong in other ways")?;
    }
    let chosen = choices.iter().map(|choice| format!("{} ({}) {}", choice.choice, choice.text, choice.count));
    let chosen: Vec<String> = chosen.collect();
    if !chosen.is_empty() {
        writeln!(out, "    chosen: {}", chosen.join(", "))?;
    }
    Ok(())
}

fn groups(out: &mut impl Write, title: &str, groups: &[GroupStatistics], left: u64) -> io::Result<()> {
    heading(out, title)?;
    for group in groups {
        let GroupStatistics { pupils, mean, deviation, alpha, standard_error, .. } = group;
        let deviation = deviation.as_ref().map_or_else(|| "-".into(), |deviation| deviation.written(2));
        writeln!(
            out,
            "{pupils} pupils: mean {}, deviation {deviation} (n - 1), alpha {}, standard error {}",
            mean.written(2),
            told(alpha),
            told(standard_error)
        )?;
        let rough = if *pupils < ROUGH_CORRELATION { " (rough: fewer than 100 pupils)" } else { "" };
        writeln!(out, "    correlation with the rest of the total, and with the total{rough}:")?;
        for step in &group.steps {
            let (rest, total) = (told(&step.item_rest), told(&step.item_total));
            writeln!(out, "    {rest:>6} {total:>6}  {}, step {}", step.of, step.step)?;
        }
    }
    if left > 0 {
        writeln!(out, "{} in groups of {}", counted(left, "pupil"), Reason::FewerThan10Pupils)?;
    }
    Ok(())
}

fn told(figure: &Told<Figure>) -> String {
    match figure {
        Told::Given(figure) => figure.written(2),
        Told::Withheld { withheld } => not_told(*withheld),
    }
}
