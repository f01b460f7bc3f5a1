//! Platforms that may launch the service, deployments that wait for approval, invitations, and signing keys.

use std::collections::BTreeSet;

use actix_web::{HttpResponse, web};
use jiff::Timestamp;
use url::Url;

use super::{DistrictSession, board, done, refused, shown};
use crate::app::App;
use crate::clock::plus_ms;
use crate::entropy;
use crate::frame_ancestors;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::lti::keys::rotation::{self, OVERLAP_MS, Stage};
use crate::pages::board::{Act, Board, Cell, Field, FieldKind, Form, Section, Table};
use crate::pages::marked::Tone;
use crate::registering::{Part, TypedPlatform};
use crate::storage::{DeploymentId, Fingerprint, Invitation, Registration, RegistrationId};
use crate::texts::Texts;
use crate::windows::Zone;

/// How long an invitation can be used.
const INVITED_MS: i64 = 7 * 24 * 60 * 60 * 1000;
const PATH: &str = "/district/platforms";

/// GET: the platforms.
pub(crate) async fn list(session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    shown(&page(&session, &app).await?)
}

async fn page(session: &DistrictSession, app: &App) -> Result<Board, PageError> {
    let texts = Texts::of_reader();
    let registrations = app.storage.registrations().await?;
    let sections = vec![
        registered(&registrations, texts),
        waiting(app, &registrations, texts).await?,
        invitations(app, texts).await?,
        keys(app, &registrations, texts).await?,
        adding(texts, None),
    ];
    Ok(board(session, PATH, texts.say("running-page-platforms"), sections))
}

fn columns(texts: &Texts, names: &[&str]) -> Vec<String> {
    names.iter().map(|name| texts.say(name)).collect()
}

fn registered(registrations: &[Registration], texts: &Texts) -> Section {
    let row = |known: &Registration| {
        let deployments: Vec<&str> = known.platform.deployments.iter().map(DeploymentId::as_str).collect();
        let remove = Act {
            action: format!("{PATH}/remove"),
            values: vec![("platform", known.id.0.to_string())],
            text: texts.say("running-remove"),
            label: texts.with("running-remove-label", &[("issuer", known.platform.issuer.as_str().into())]),
        };
        vec![
            Cell::Link(format!("{PATH}/{}", known.id.0), known.platform.issuer.clone()),
            Cell::Code(known.platform.client_id.to_string()),
            Cell::Text(deployments.join(", ")),
            Cell::Acts(vec![remove]),
        ]
    };
    let names =
        ["running-column-issuer", "running-column-client", "running-column-deployments", "running-column-do"];
    let rows = registrations.iter().map(row).collect();
    let table = Table::new(
        texts.say("running-registered"),
        columns(texts, &names),
        rows,
        texts.say("running-no-platform"),
    );
    Section::new("registered", texts.say("running-registered")).table(table)
}

async fn waiting(app: &App, registrations: &[Registration], texts: &Texts) -> Result<Section, PageError> {
    let zone = &app.settings.time_zone;
    let row = |waits: crate::storage::PendingDeployment| {
        let issuer = issuer(registrations, Some(waits.registration));
        let approve = Act {
            action: format!("{PATH}/approve"),
            values: vec![
                ("platform", waits.registration.0.to_string()),
                ("deployment", waits.deployment.to_string()),
            ],
            text: texts.say("running-approve"),
            label: texts.with("running-approve-label", &[("deployment", waits.deployment.as_str().into())]),
        };
        vec![
            Cell::Text(waits.deployment.to_string()),
            Cell::Text(issuer),
            Cell::Text(texts.date_time(waits.first_seen_at, zone)),
            Cell::Acts(vec![approve]),
        ]
    };
    let rows = app.storage.pending_deployments().await?.into_iter().map(row).collect();
    let names =
        ["running-column-deployment", "running-column-issuer", "running-column-since", "running-column-do"];
    let table = Table::new(
        texts.say("running-waiting"),
        columns(texts, &names),
        rows,
        texts.say("running-none-waiting"),
    );
    Ok(Section::new("waiting", texts.say("running-waiting"))
        .text(texts.say("running-waiting-about"))
        .table(table))
}

fn issuer(registrations: &[Registration], id: Option<RegistrationId>) -> String {
    let known = registrations.iter().find(|known| Some(known.id) == id);
    known.map_or_else(String::new, |known| known.platform.issuer.clone())
}

async fn invitations(app: &App, texts: &Texts) -> Result<Section, PageError> {
    let now = app.clock.now();
    let zone = &app.settings.time_zone;
    let row = |invitation: Invitation| {
        let (tone, state) = invitation_state(&invitation, now);
        let revoke = Act {
            action: format!("{PATH}/revoke-invitation"),
            values: vec![("id", invitation.id.clone())],
            text: texts.say("running-revoke"),
            label: texts.with("running-revoke-label", &[("name", invitation.id.as_str().into())]),
        };
        vec![
            Cell::Code(invitation.id),
            Cell::Text(invitation.note),
            Cell::State(tone, texts.say(state)),
            Cell::Text(texts.date_time(invitation.expires_at, zone)),
            Cell::Acts(if tone == Tone::Form { vec![revoke] } else { Vec::new() }),
        ]
    };
    let rows = app.storage.invitations().await?.into_iter().map(row).collect();
    let names = [
        "running-column-name",
        "running-column-for",
        "running-column-state",
        "running-column-ends",
        "running-column-do",
    ];
    let table = Table::new(
        texts.say("running-invitations"),
        columns(texts, &names),
        rows,
        texts.say("running-no-invitation"),
    );
    let form = Form::post(
        format!("{PATH}/invite"),
        texts.say("running-invite"),
        vec![Field::line("note", texts.say("running-invite-for"), "")],
    );
    Ok(Section::new("invitations", texts.say("running-invitations"))
        .text(texts.say("running-invitations-about"))
        .table(table)
        .form(form))
}

/// An open invitation is the only one that can still be taken back.
fn invitation_state(invitation: &Invitation, now: Timestamp) -> (Tone, &'static str) {
    if invitation.used_at.is_some() {
        (Tone::Right, "running-state-used")
    } else if invitation.revoked_at.is_some() {
        (Tone::Quiet, "running-state-revoked")
    } else if invitation.expires_at <= now {
        (Tone::Quiet, "running-state-ended")
    } else {
        (Tone::Form, "running-state-open")
    }
}

async fn keys(app: &App, registrations: &[Registration], texts: &Texts) -> Result<Section, PageError> {
    let (keys, now) = (app.storage.tool_keys().await?, app.clock.now());
    let zone = &app.settings.time_zone;
    let row = |key: &crate::storage::ToolKey| {
        let stage = rotation::stage(key, &keys, now);
        let (tone, state) = match stage {
            Stage::Waiting => (Tone::Form, "running-key-waiting"),
            Stage::Signing => (Tone::Right, "running-key-signing"),
            Stage::Leaving => (Tone::Own, "running-key-leaving"),
            Stage::Retired => (Tone::Quiet, "running-key-retired"),
        };
        let rotate = key.registration.filter(|_| stage == Stage::Signing).map(|owner| Act {
            action: format!("{PATH}/rotate"),
            values: vec![("platform", owner.0.to_string())],
            text: texts.say("running-rotate"),
            label: texts
                .with("running-rotate-label", &[("issuer", issuer(registrations, Some(owner)).into())]),
        });
        let retire = (key.retires_at.is_none() && stage == Stage::Leaving).then(|| Act {
            action: format!("{PATH}/retire"),
            values: vec![("key", key.kid.clone())],
            text: texts.say("running-retire"),
            label: texts.with("running-retire-label", &[("name", key.kid.as_str().into())]),
        });
        vec![
            Cell::Code(key.kid.clone()),
            Cell::Text(issuer(registrations, key.registration)),
            Cell::State(tone, texts.say(state)),
            Cell::Text(times(key, zone, texts)),
            Cell::Acts(rotate.into_iter().chain(retire).collect()),
        ]
    };
    let published = keys.iter().filter(|key| rotation::stage(key, &keys, now) != Stage::Retired);
    let rows = published.map(row).collect();
    let names = [
        "running-column-name",
        "running-column-issuer",
        "running-column-state",
        "running-column-made",
        "running-column-do",
    ];
    let table =
        Table::new(texts.say("running-keys"), columns(texts, &names), rows, texts.say("running-no-key"));
    Ok(Section::new("keys", texts.say("running-keys")).text(texts.say("running-keys-about")).table(table))
}

/// When a key was made, and when it leaves if that is known.
fn times(key: &crate::storage::ToolKey, zone: &Zone, texts: &Texts) -> String {
    let made = texts.date_time(key.created_at, zone);
    match key.retires_at {
        None => made,
        Some(at) => {
            let leaves = texts.date_time(at, zone);
            texts.with("running-key-times", &[("made", made.into()), ("leaves", leaves.into())])
        }
    }
}

/// What is asked for a platform: field, message, and whether one can leave it empty.
const PARTS: [(&str, Part, &str); 5] = [
    ("issuer", Part::Issuer, "running-column-issuer"),
    ("client_id", Part::ClientId, "running-column-client"),
    ("authorization_url", Part::AuthorizationUrl, "running-authorization-url"),
    ("token_url", Part::TokenUrl, "running-token-url"),
    ("keys_url", Part::KeysUrl, "running-keys-url"),
];

/// The form for a platform, filled as it was posted last.
fn adding(texts: &Texts, posted: Option<&Fields>) -> Section {
    let typed = |name: &str| posted.map_or("", |fields| fields.value(name));
    let mut fields: Vec<Field> =
        PARTS.iter().map(|(name, _, message)| Field::line(name, texts.say(message), typed(name))).collect();
    let deployments = Field {
        kind: FieldKind::Lines(typed("deployments").to_owned()),
        ..Field::line("deployments", texts.say("running-column-deployments"), "")
    };
    fields.push(deployments.hint(texts.say("running-one-a-line")));
    let audience = Field::line("audience", texts.say("running-audience"), typed("audience"));
    fields.push(audience.hint(texts.say("running-audience-hint")));
    let form = Form::post(format!("{PATH}/add"), texts.say("running-add"), fields);
    Section::new("add", texts.say("running-add-heading")).text(texts.say("running-add-about")).form(form)
}

/// POST: registers a platform, with the checks of `tenths platform add`. What was typed stays in the form when it is at
/// fault.
pub(crate) async fn add(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    match typed(&fields).check(app.settings.reach) {
        Ok(new) => {
            app.storage.put_registration(new, &session.change(&app)).await?;
            Ok(answer::see_other(PATH))
        }
        Err(fault) => {
            let mut board = page(&session, &app).await?;
            let texts = Texts::of_reader();
            // The form stands at the end of the page.
            board.sections.pop();
            board.sections.insert(0, adding(texts, Some(&fields)));
            refused(board, told(fault.part, texts))
        }
    }
}

fn typed(fields: &Fields) -> TypedPlatform {
    let value = |name: &str| fields.value(name).trim().to_owned();
    TypedPlatform {
        issuer: value("issuer"),
        client_id: value("client_id"),
        authorization_url: value("authorization_url"),
        token_url: value("token_url"),
        keys_url: value("keys_url"),
        deployments: lines(fields.value("deployments")).map(str::to_owned).collect(),
        audience: Some(value("audience")).filter(|audience| !audience.is_empty()),
    }
}

/// What is wrong with a part, in a sentence.
fn told(part: Part, texts: &Texts) -> String {
    let asked = PARTS.iter().find(|(_, asked, _)| *asked == part);
    let field = texts.say(asked.map_or("running-column-deployments", |(_, _, message)| message));
    match part {
        Part::ClientId | Part::Deployment => {
            texts.with("running-fault-identifier", &[("field", field.into())])
        }
        _ => texts.with("running-fault-address", &[("field", field.into())]),
    }
}

/// The lines that say something.
fn lines(text: &str) -> impl Iterator<Item = &str> {
    text.lines().map(str::trim).filter(|line| !line.is_empty())
}

/// GET: one platform: what is registered, and which further pages may show ours in frames.
pub(crate) async fn show(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<i64>,
) -> Result<HttpResponse, PageError> {
    shown(&one(&session, &app, path.into_inner(), None).await?)
}

/// The page of a platform; with origins as they were posted, if they were at fault.
async fn one(
    session: &DistrictSession,
    app: &App,
    platform: i64,
    origins: Option<&str>,
) -> Result<Board, PageError> {
    let texts = Texts::of_reader();
    let id = RegistrationId(platform);
    let known = app.storage.registration(id).await?.ok_or(PageError::NotFound)?;
    let origins = match origins {
        Some(typed) => typed.to_owned(),
        None => app.storage.frame_origins(id).await?.into_iter().collect::<Vec<_>>().join("\n"),
    };
    let platform = known.platform;
    let deployments: Vec<&str> = platform.deployments.iter().map(DeploymentId::as_str).collect();
    let facts = [
        ("running-column-issuer", platform.issuer.clone()),
        ("running-column-client", platform.client_id.to_string()),
        ("running-authorization-url", platform.authorization_url.to_string()),
        ("running-token-url", platform.token_url.to_string()),
        ("running-keys-url", platform.keys_url.to_string()),
        ("running-audience", platform.audience.clone().unwrap_or_else(|| platform.token_url.to_string())),
        ("running-column-deployments", deployments.join(", ")),
    ];
    let registered = Section {
        facts: facts.map(|(message, value)| (texts.say(message), value)).into(),
        ..Section::new("registered", texts.say("running-registered-as"))
    };
    let field = Field {
        kind: FieldKind::Lines(origins),
        ..Field::line("origins", texts.say("running-frames-origins"), "")
    };
    let form = Form::post(
        format!("{PATH}/{}/frames", id.0),
        texts.say("running-frames-save"),
        vec![field.hint(texts.say("running-frames-hint"))],
    );
    let frames = Section::new("frames", texts.say("running-frames")).text(texts.say("running-frames-about"));
    let sections = vec![registered.link(PATH, texts.say("running-all-platforms-link")), frames.form(form)];
    Ok(board(session, PATH, platform.issuer, sections))
}

/// POST: which further pages may show ours in frames, as `tenths platform frames`; none where the field is empty.
pub(crate) async fn frames(
    session: DistrictSession,
    app: web::Data<App>,
    path: web::Path<i64>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let id = path.into_inner();
    app.storage.registration(RegistrationId(id)).await?.ok_or(PageError::NotFound)?;
    let typed = fields.value("origins");
    let read = |line: &str| {
        let url: Url = line.parse().ok()?;
        app.settings.reach.check("origin", &url).ok()?;
        frame_ancestors::bare_origin(&url)
    };
    let mut origins = BTreeSet::new();
    for line in lines(typed) {
        let Some(origin) = read(line) else {
            let shown = crate::shorten(line, 120);
            let fault = Texts::of_reader().with("running-frames-fault", &[("line", shown.into())]);
            return refused(one(&session, &app, id, Some(typed)).await?, fault);
        };
        origins.insert(origin);
    }
    app.storage.set_frame_origins(RegistrationId(id), &origins, &session.change(&app)).await?;
    Ok(answer::see_other(&format!("{PATH}/{id}")))
}

/// The platform that a form names.
async fn named(app: &App, fields: &Fields) -> Result<Registration, PageError> {
    let id = fields.value("platform").parse().map(RegistrationId).map_err(|_| PageError::NotFound)?;
    app.storage.registration(id).await?.ok_or(PageError::NotFound)
}

/// POST: asks once more, telling what goes with the platform; then removes it.
pub(crate) async fn remove(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let texts = Texts::of_reader();
    let known = named(&app, &fields).await?;
    let (issuer, client) = (&known.platform.issuer, &known.platform.client_id);
    if fields.value("sure") != "yes" {
        let placements = app.storage.placements().await?;
        let quizzes =
            placements.iter().filter(|placement| placement.quiz.link.registration == known.id).count();
        let told = [("issuer", issuer.as_str().into()), ("quizzes", quizzes.into())];
        let form = Form::post(
            format!("{PATH}/remove"),
            texts.say("running-remove-sure"),
            vec![Field::hidden("platform", known.id.0.to_string()), Field::hidden("sure", "yes")],
        );
        let section = Section::new("remove", texts.say("running-remove"))
            .text(texts.with("running-remove-tells", &told))
            .form(form)
            .link(PATH, texts.say("running-remove-not"));
        return refused(
            board(&session, PATH, texts.say("running-page-platforms"), vec![section]),
            texts.say("running-remove-asks"),
        );
    }
    app.storage.remove_registration(issuer, client, &session.change(&app)).await?;
    Ok(answer::see_other(PATH))
}

/// POST: a deployment may launch from now on.
pub(crate) async fn approve(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let known = named(&app, &fields).await?;
    let deployment = DeploymentId::from(fields.value("deployment"));
    app.storage.approve_deployment(known.id, &deployment, &session.change(&app)).await?;
    Ok(answer::see_other(PATH))
}

/// POST: makes an invitation; its address is shown this once.
pub(crate) async fn invite(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let (secret, change) = (entropy::secret(), session.change(&app));
    let invitation = Invitation {
        id: entropy::short_identifier(),
        secret: Fingerprint::of(&secret),
        note: crate::shorten(fields.value("note").trim(), 200),
        created_at: change.at,
        expires_at: plus_ms(change.at, INVITED_MS),
        revoked_at: None,
        used_at: None,
        registration: None,
    };
    app.storage.add_invitation(invitation, &change).await?;
    let address = format!("{}?invitation={secret}", app.settings.public_url.join("/lti/register"));
    done(page(&session, &app).await?, Texts::of_reader().say("running-invited"), Some(address))
}

/// POST: takes an invitation back.
pub(crate) async fn revoke_invitation(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    app.storage.revoke_invitation(fields.value("id"), &session.change(&app)).await?;
    Ok(answer::see_other(PATH))
}

/// POST: a platform gets a new signing key, which signs after a day in which the platform can learn of it.
pub(crate) async fn rotate(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let known = named(&app, &fields).await?;
    let (store, seal_key) = (app.storage.as_ref(), app.settings.seal_key.as_ref());
    let rotated = rotation::rotate(store, seal_key, Some(known.id), OVERLAP_MS, &session.change(&app)).await;
    if let Err(error) = rotated {
        tracing::warn!(%error, "a key was not rotated");
        return refused(page(&session, &app).await?, Texts::of_reader().say("running-rotate-fault"));
    }
    if let Err(error) = app.tool_keys.tend().await {
        // The service looks after its keys by itself, too.
        tracing::warn!(%error, "signing keys could not be looked after");
    }
    Ok(answer::see_other(PATH))
}

/// POST: a key that another one has taken the place of gets its time to leave the key set, a day from now.
pub(crate) async fn retire(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let change = session.change(&app);
    let at = plus_ms(change.at, OVERLAP_MS);
    if let Err(error) = rotation::retire(app.storage.as_ref(), fields.value("key"), at, &change).await {
        tracing::warn!(%error, "a key was not retired");
        return refused(page(&session, &app).await?, Texts::of_reader().say("running-retire-fault"));
    }
    if let Err(error) = app.tool_keys.tend().await {
        tracing::warn!(%error, "signing keys could not be looked after");
    }
    Ok(answer::see_other(PATH))
}
