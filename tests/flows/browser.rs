//! The job as people do it, in a real browser: a teacher places a quiz, three pupils answer it, the teacher sees what
//! became of it.
//!
//! One pupil uses the keyboard alone and makes a known mistake, one has scripts switched off and forgets an answer, one
//! has a phone. Everything is seen and done on pages; the pool is only asked what the right answers are.
//!
//! The run makes the README's pictures. `TENTHS_PICTURES=1 cargo test -p conformance --test flows browser` puts them
//! into `deploy/pictures`; without it they go to a temporary folder, so that a test leaves the tree as it was.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail, ensure};
use conformance::browser::{Browser, Driver, Screen, Scripts, WITHIN, keys};
use conformance::looks;
use conformance::pictures::Pictures;
use fantoccini::Locator;
use qbank::locale::Language;
use qbank::misconceptions::{self, Misconception};
use qbank::question::{Item, Step, StepKind};
use service::demo::{Demo, DemoSettings};
use tempfile::TempDir;

/// Questions that each pupil gets.
const QUESTIONS: usize = 8;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_quiz_goes_from_the_teachers_choice_to_the_gradebook() -> Result<()> {
    let Some(driver) = Driver::start()? else {
        return Ok(());
    };
    let folder = TempDir::with_prefix("tenths-flow-")?;
    let pictures = Pictures::into_folder(folder.path())?;
    let settings = DemoSettings { port: 0, pupils: 3, folder: folder.path().join("demo") };
    let school = School { demo: Demo::start(&settings).await?, driver, pictures };

    let teacher = school.driver.open(Screen::DESK, Scripts::On).await?;
    let [careful, forgetful, mobile] = school.pupils(&teacher).await?;
    school.place(&teacher).await.context("placing the quiz")?;
    let (with_mistake, misconception) =
        school.sit_with_a_mistake(&careful).await.context("the pupil with the keyboard")?;
    let points = [
        with_mistake,
        school.sit_without_scripts(&forgetful).await.context("the pupil without scripts")?,
        school.sit_on_a_phone(&mobile).await.context("the pupil with the phone")?,
    ];
    let earned = [careful, forgetful, mobile].into_iter().zip(points).collect();
    school.find_grades(&teacher, &earned).await.context("the gradebook")?;
    school.find_reason(&teacher, misconception).await.context("the class page")?;

    leave(teacher).await?;
    school.demo.stop().await?;
    looks::all_seen("browser")
}

/// Points by the pupil's name, as the gradebook must show them.
type Earned = BTreeMap<String, String>;

/// The product and the browsers.
struct School {
    demo: Demo,
    driver: Driver,
    pictures: Pictures,
}

/// A step to get wrong in a known way.
struct Mistake<'a> {
    /// Place of its question on the page, from 0.
    question: usize,
    /// Place in the question, from 0.
    place: usize,
    step: &'a Step,
    /// What to write.
    response: String,
    misconception: &'static Misconception,
}

/// The teacher's part.
impl School {
    /// Enters the course as the only teacher.
    async fn enter_as_teacher(&self, browser: &Browser) -> Result<()> {
        browser.open(self.demo.front_page()).await?;
        browser.click(Locator::Css("ul[aria-labelledby=teacher] button")).await
    }

    /// The pupils' names, from the front page.
    async fn pupils(&self, browser: &Browser) -> Result<[String; 3]> {
        browser.open(self.demo.front_page()).await?;
        let names = browser.texts("ul[aria-labelledby=pupils] button").await?;
        names
            .try_into()
            .map_err(|names| anyhow::anyhow!("the course should have three pupils, not {names:?}"))
    }

    async fn place(&self, teacher: &Browser) -> Result<()> {
        self.enter_as_teacher(teacher).await?;
        teacher.click(Locator::LinkText("Add an activity")).await?;
        teacher.click(Locator::Css("input[name=pool]")).await?;
        teacher.fill("#questions", &QUESTIONS.to_string()).await?;
        teacher.fill("#attempts", "2").await?;
        teacher.scroll_to("h1").await?;
        looks::inspect(teacher, "the teacher places a quiz").await?;
        self.pictures.keep("teacher-places-a-quiz", &teacher.picture().await?)?;
        teacher.click(Locator::XPath(&button("Place this quiz"))).await?;
        looks::inspect(teacher, "the practice platform's course").await?;
        let activity = teacher.text("ul.activities h3").await?;
        ensure!(activity == self.demo.pool().title, "the course lists '{activity}'");
        Ok(())
    }

    /// Waits until the practice platform shows each pupil's points, and no others.
    async fn find_grades(&self, teacher: &Browser, earned: &Earned) -> Result<()> {
        self.enter_as_teacher(teacher).await?;
        teacher.click(Locator::LinkText("Gradebook")).await?;
        let until = Instant::now() + WITHIN;
        loop {
            let names = teacher.texts("tbody th").await?;
            let cells = teacher.texts("tbody td").await?;
            let shown: Earned =
                names.into_iter().zip(cells).map(|(name, cell)| (name, points(&cell))).collect();
            if shown == *earned {
                break;
            }
            ensure!(Instant::now() < until, "the gradebook shows {shown:?}, expected {earned:?}");
            tokio::time::sleep(Duration::from_millis(50)).await;
            teacher.reload().await?;
        }
        looks::inspect(teacher, "the practice platform's gradebook").await?;
        self.pictures.keep("gradebook", &teacher.picture_of("body").await?)
    }

    /// The tool's own class page leads to what the mistaken answer is consistent with.
    async fn find_reason(&self, teacher: &Browser, misconception: &Misconception) -> Result<()> {
        self.enter_as_teacher(teacher).await?;
        teacher.click(Locator::LinkText("Open")).await?;
        teacher.click(Locator::LinkText("Points and grades")).await?;
        let attempts = teacher.texts("table.rows .tries a").await?;
        ensure!(attempts.len() == 3, "the class page lists the attempts {attempts:?}");
        self.pictures.keep("class", &teacher.picture_of("body").await?)?;
        let mut reasons = Vec::new();
        for place in 1..=attempts.len() {
            teacher.click(Locator::XPath(&format!("(//*[@class='tries']//a)[{place}]"))).await?;
            teacher.find(Locator::Css("section[aria-label='This attempt']")).await?;
            reasons.extend(
                teacher.texts(".steps > li").await?.into_iter().filter(|step| step.contains("Next:")),
            );
            teacher.click(Locator::LinkText("Back to points and grades")).await?;
        }
        match reasons.as_slice() {
            [one] if one.to_lowercase().contains(&misconception.teacher.to_lowercase()) => Ok(()),
            _ => bail!("the teacher should read once '{}': {reasons:?}", misconception.teacher),
        }
    }
}

/// The pupils' part.
impl School {
    /// With keys alone, one step wrong as a misconception predicts: the result says why.
    async fn sit_with_a_mistake(&self, name: &str) -> Result<(String, &'static Misconception)> {
        let pupil = self.driver.open(Screen::DESK, Scripts::On).await?;
        self.start_quiz(&pupil, name).await?;
        let items = self.questions_on(&pupil).await?;
        let mistake = mistake(&items).context("no question invites a mistake of one kind")?;
        for (index, item) in items.iter().enumerate() {
            let mut responses = item.right_responses();
            if index == mistake.question {
                responses.insert(mistake.step.id.to_string(), mistake.response.clone());
            }
            answer(&pupil, index, item, &responses).await?;
        }
        self.picture_of_question(&pupil, mistake.question, "pupil-answers").await?;
        let order = items.iter().position(|item| item.steps.iter().any(|step| step.kind == StepKind::Order));
        let order = order.context("the quiz has a question about an order")?;
        self.picture_of_question(&pupil, order, "pupil-puts-in-order").await?;
        pupil.tab_to(Locator::XPath(&button("Hand in"))).await?;
        pupil.press(keys::ENTER).await?;

        let shown = points_on_result(&pupil).await?;
        ensure!(shown == total(&items) - mistake.step.points, "the result shows {shown} points");
        check_reason(&pupil, &mistake).await?;
        self.picture_of_question(&pupil, mistake.question, "result-with-reason").await?;
        leave(pupil).await?;
        Ok((format!("{shown} of {}", total(&items)), mistake.misconception))
    }

    /// No scripts and the last answer forgotten: the page asks once more, then takes it.
    async fn sit_without_scripts(&self, name: &str) -> Result<String> {
        let pupil = self.driver.open(Screen::DESK, Scripts::Off).await?;
        self.start_quiz(&pupil, name).await?;
        let items = self.questions_on(&pupil).await?;
        let (last, others) = items.split_last().context("a quiz has questions")?;
        for (index, item) in others.iter().enumerate() {
            answer(&pupil, index, item, &item.right_responses()).await?;
        }
        pupil.tab_to(Locator::XPath(&button("Hand in"))).await?;
        pupil.press(keys::ENTER).await?;
        let alert = pupil.texts(".note.alert li").await?;
        ensure!(alert.len() == last.steps.len(), "the page names {alert:?} as empty");
        pupil.tab_to(Locator::XPath(&button("Hand in anyway"))).await?;
        pupil.press(keys::ENTER).await?;

        let shown = points_on_result(&pupil).await?;
        ensure!(shown == total(others), "the result shows {shown} points");
        // The page that asks once more comes as an unprocessable form.
        match pupil.complaints().await?.as_slice() {
            [one] if one.contains("/submit") && one.contains("422") => pupil.close().await?,
            complaints => bail!("the browser complains: {complaints:?}"),
        }
        Ok(format!("{shown} of {}", total(&items)))
    }

    /// Everything right on a narrow phone: no page scrolls sideways.
    async fn sit_on_a_phone(&self, name: &str) -> Result<String> {
        let pupil = self.driver.open(Screen::PHONE, Scripts::On).await?;
        self.start_quiz(&pupil, name).await?;
        let items = self.questions_on(&pupil).await?;
        pupil.fits().await?;
        for (index, item) in items.iter().enumerate() {
            answer(&pupil, index, item, &item.right_responses()).await?;
        }
        self.picture_of_question(&pupil, 0, "pupil-on-a-phone").await?;
        pupil.tab_to(Locator::XPath(&button("Hand in"))).await?;
        pupil.press(keys::ENTER).await?;

        let shown = points_on_result(&pupil).await?;
        ensure!(shown == total(&items), "the result shows {shown} points");
        pupil.fits().await?;
        leave(pupil).await?;
        Ok(format!("{shown} of {}", total(&items)))
    }

    /// Enters the course, opens the quiz and starts it, with keys alone.
    async fn start_quiz(&self, pupil: &Browser, name: &str) -> Result<()> {
        pupil.open(self.demo.front_page()).await?;
        pupil.tab_to(Locator::XPath(&button(name))).await?;
        pupil.press(keys::ENTER).await?;
        pupil.tab_to(Locator::LinkText("Open")).await?;
        pupil.press(keys::ENTER).await?;
        if pupil.scripts() == Scripts::Off {
            pupil.tab_to(Locator::XPath(&button("Continue"))).await?;
            pupil.press(keys::ENTER).await?;
        }
        pupil.find(Locator::Css("section[aria-label='About this quiz']")).await?;
        if pupil.scripts() == Scripts::On {
            pupil.fits().await?;
        }
        pupil.tab_to(Locator::XPath(&button("Start"))).await?;
        pupil.press(keys::ENTER).await
    }

    /// The pool's items that a page asks, by the stories it tells, in order.
    async fn questions_on(&self, pupil: &Browser) -> Result<Vec<&Item>> {
        let told = pupil.texts("section.card .story").await?;
        ensure!(told.len() == QUESTIONS, "the page tells {} stories", told.len());
        let find = |story: &String| self.demo.pool().items().find(|item| item.stem == *story);
        told.iter().map(|story| find(story).with_context(|| format!("not from the pool: {story}"))).collect()
    }

    async fn picture_of_question(&self, browser: &Browser, index: usize, name: &str) -> Result<()> {
        browser.scroll_to(&format!("section[aria-labelledby=q{}]", index + 1)).await?;
        self.pictures.keep(name, &browser.picture().await?)
    }
}

/// Answers a question, counted from 0, with keys alone, in the order of the page.
pub(crate) async fn answer(
    pupil: &Browser,
    index: usize,
    item: &Item,
    responses: &BTreeMap<String, String>,
) -> Result<()> {
    for step in &item.steps {
        let field = format!("q{}.{}", index + 1, step.id);
        let response = &responses[step.id.as_str()];
        match step.kind {
            StepKind::Choice => pupil.choose_by_keys(&field, response).await?,
            StepKind::Order => {
                for (place, id) in (1..).zip(response.split(", ")) {
                    let index = step.choices.iter().position(|choice| choice.id == id);
                    pupil.tab_to(Locator::Css(&format!("select[name='{field}.{place}']"))).await?;
                    // The first option is the empty one.
                    for _ in 0..=index.context("no such choice")? {
                        pupil.press(keys::DOWN).await?;
                    }
                }
            }
            _ => {
                pupil.tab_to(Locator::Css(&format!("input[name='{field}']"))).await?;
                pupil.press(response).await?;
            }
        }
    }
    Ok(())
}

/// The first typed step that nothing builds on and that exactly one misconception leads astray.
fn mistake<'a>(items: &[&'a Item]) -> Option<Mistake<'a>> {
    items.iter().enumerate().find_map(|(question, item)| {
        let (place, step) = item.steps.iter().enumerate().next_back()?;
        if step.kind != StepKind::Number {
            return None;
        }
        step.predicted.iter().find_map(|prediction| {
            let misconception = misconceptions::find(&prediction.misconception)?;
            let response = prediction.answer.to_string();
            Some(Mistake { question, place, step, response, misconception })
        })
    })
}

/// The result page names the mistake in the pupil's words and works the step in columns.
async fn check_reason(pupil: &Browser, mistake: &Mistake<'_>) -> Result<()> {
    let step = format!(
        "section[aria-labelledby=q{}] .steps > li:nth-child({})",
        mistake.question + 1,
        mistake.place + 1
    );
    let verdict = pupil.text(&format!("{step} .verdict")).await?;
    ensure!(verdict.contains("Not right yet"), "the verdict is '{verdict}'");
    let typed = pupil.text(&format!("{step} .typed")).await?;
    ensure!(typed == mistake.response, "the page says that '{typed}' was typed");
    let why = pupil.texts(&format!("{step} .why")).await?.join(" ").to_lowercase();
    let reason = mistake.misconception.pupil(Language::English).to_lowercase();
    ensure!(why.contains(&reason), "expected the reason '{reason}', found '{why}'");
    let working = pupil.find(Locator::Css(&format!("{step} svg.board"))).await?;
    ensure!(working.is_displayed().await?, "the working is folded away");
    let told = pupil.texts(&format!("{step} .told")).await?.join(" ");
    let answer = mistake.step.answer.to_string();
    ensure!(told.contains(&answer), "the working does not lead to {answer}: {told}");
    Ok(())
}

/// Closes a browser that had nothing to complain about.
async fn leave(browser: Browser) -> Result<()> {
    let complaints = browser.complaints().await?;
    ensure!(complaints.is_empty(), "the browser complains: {complaints:?}");
    browser.close().await
}

async fn points_on_result(pupil: &Browser) -> Result<u32> {
    Ok(pupil.text("section[aria-label='Your points'] .score strong").await?.parse()?)
}

fn total(items: &[&Item]) -> u32 {
    items.iter().map(|item| item.max_points()).sum()
}

/// The points of a gradebook cell, which may go on with when they came.
fn points(cell: &str) -> String {
    cell.split_whitespace().take(3).collect::<Vec<_>>().join(" ")
}

/// Finds the button that says `text`.
fn button(text: &str) -> String {
    format!("//button[normalize-space()='{text}']")
}
