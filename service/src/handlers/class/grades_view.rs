//! Points and grades: pupils by best points, with attempts and the state of each grade.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use actix_web::{HttpResponse, web};

use super::delivery_view;
use super::people::People;
use super::roster::class_list;
use super::views;
use crate::app::App;
use crate::handlers::answer::{self, PageError};
use crate::handlers::opened_quiz::{OpenedQuiz, best};
use crate::pages::class::{AttemptLink, GradesPage, PupilRow};
use crate::pages::{Frame, Place};
use crate::session::TeacherSession;
use crate::storage::{Attempt, AttemptResult, Delivery, UserId};
use crate::texts::{ReaderTexts, Texts};

/// GET: the table.
pub(crate) async fn show(
    session: TeacherSession,
    ReaderTexts(texts): ReaderTexts,
    app: web::Data<App>,
) -> Result<HttpResponse, PageError> {
    let quiz = OpenedQuiz::find(&app, &session.placement).await?;
    let class = class_list(&app, &quiz.placement).await?;
    let attempts = app.storage.attempts_at(&quiz.placement.id).await?;
    let deliveries = app.storage.deliveries_at(&quiz.placement.id).await?;
    let reading = app.storage.reading_of(&quiz.placement.id).await?;
    let extra = app.storage.extra_attempts(&quiz.placement.id).await?;
    let people = People::of(texts, &class, &attempts);
    let table = Table { texts, app: &app, quiz: &quiz, people: &people, extra: &extra };
    let page = GradesPage {
        frame: Frame::new(texts, Place::Class, quiz.title()).wide().with_languages(),
        views: views(&session, "grades"),
        handed_in: people.handed_in(&attempts),
        warning: (!quiz.sends_grades()).then(|| texts.say("class-no-grades-taken")),
        class_url: format!("/class/{}", session.placement),
        gradebook: delivery_view::gradebook(texts, &app, &quiz, &deliveries, reading.as_ref()),
        csrf: session.csrf.value().to_owned(),
        pupils: table.rows(&attempts, &deliveries),
    };
    answer::page(StatusCode::OK, &page)
}

/// What all rows need.
struct Table<'a> {
    texts: &'a Texts,
    app: &'a App,
    quiz: &'a OpenedQuiz,
    people: &'a People<'a>,
    extra: &'a BTreeMap<UserId, u32>,
}

impl Table<'_> {
    /// The pupils, best share of points first, then by label.
    fn rows(&self, attempts: &[Attempt], deliveries: &[Delivery]) -> Vec<PupilRow> {
        let mut by_pupil: BTreeMap<&UserId, Vec<&Attempt>> = BTreeMap::new();
        for attempt in attempts {
            by_pupil.entry(&attempt.user).or_default().push(attempt);
        }
        // A pupil whose work was reset has no attempts, but a cell in the gradebook.
        for delivery in deliveries {
            by_pupil.entry(&delivery.user).or_default();
        }
        let row = |(user, attempts): (&UserId, Vec<&Attempt>)| {
            let best = best(attempts.iter().copied());
            let delivery = deliveries.iter().find(|delivery| &delivery.user == user);
            (share(best), self.row(user, &attempts, best, delivery))
        };
        let mut rows: Vec<_> = by_pupil.into_iter().map(row).collect();
        rows.sort_by(|(one, one_row), (other, other_row)| {
            other.cmp(one).then_with(|| one_row.label.cmp(&other_row.label))
        });
        rows.into_iter().map(|(_, row)| row).collect()
    }

    fn row(
        &self,
        user: &UserId,
        attempts: &[&Attempt],
        best: Option<&AttemptResult>,
        delivery: Option<&Delivery>,
    ) -> PupilRow {
        let texts = self.texts;
        let label = self.people.label(user);
        let of_pupil = |id: &str| texts.with(id, &[("pupil", label.as_str().into())]);
        let extra = self.extra.get(user).copied().unwrap_or_default();
        let allowed = self.quiz.placement.quiz.attempts_allowed.saturating_add(extra);
        PupilRow {
            subject: user.to_string(),
            mark: self.people.mark(user),
            best: best.map_or_else(
                || texts.say("class-grades-not-handed-in"),
                |best| {
                    let of = [("points", best.points.into()), ("most", best.maximum.into())];
                    texts.with("class-grades-points", &of)
                },
            ),
            attempts: attempts.iter().map(|attempt| attempt_link(texts, attempt)).collect(),
            can_reset: !attempts.is_empty(),
            extra,
            extra_words: (extra > 0).then(|| texts.with("class-allowed-extra", &[("extra", extra.into())])),
            allow_why: texts
                .with("class-allow-why", &[("pupil", label.as_str().into()), ("allowed", allowed.into())]),
            allow_of: of_pupil("class-allow-of"),
            more_of: of_pupil("class-more-of"),
            reset_of: of_pupil("class-reset-of"),
            send_again_of: of_pupil("class-send-again-of"),
            send_ours_of: of_pupil("class-send-ours-of"),
            send_ours_after_all_of: of_pupil("class-send-ours-after-all-of"),
            keep_theirs_of: of_pupil("class-keep-theirs-of"),
            delivery: delivery_view::of_pupil(texts, self.app, self.quiz, best.is_some(), delivery),
            label,
        }
    }
}

/// Points per million possible, for sorting only.
fn share(best: Option<&AttemptResult>) -> Option<u64> {
    best.map(|best| u64::from(best.points) * 1_000_000 / u64::from(best.maximum.max(1)))
}

fn attempt_link(texts: &Texts, attempt: &Attempt) -> AttemptLink {
    let number = ("number", attempt.number.into());
    match &attempt.result {
        Some(result) => AttemptLink {
            text: texts.with(
                "class-grades-attempt",
                &[number, ("points", result.points.into()), ("most", result.maximum.into())],
            ),
            url: Some(format!("/class/{}/{}", attempt.placement, attempt.id)),
        },
        None => AttemptLink { text: texts.with("class-grades-attempt-open", &[number]), url: None },
    }
}
