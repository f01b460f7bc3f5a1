//! Every reason why a platform is not registered, with its stable name and a sentence for its administrator.

use crate::storage::InvitationState;

/// Why a platform is not registered. Holds no token; what comes from the platform is shortened.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum RegistrationProblem {
    /// The parameters cannot be read.
    #[error("The request cannot be read, or names one parameter twice with different values.")]
    Request,
    /// No invitation is named.
    #[error("The address carries no invitation.")]
    InvitationMissing,
    /// There is no such invitation.
    #[error("The invitation is not known here.")]
    InvitationUnknown,
    /// A platform was registered with it.
    #[error("The invitation has been used already; each one registers one platform.")]
    InvitationUsed,
    /// It has ended.
    #[error("The invitation has ended.")]
    InvitationExpired,
    /// It was taken back.
    #[error("The invitation was taken back.")]
    InvitationRevoked,
    /// Somebody registers with it just now.
    #[error("Somebody is registering a platform with this invitation just now.")]
    InvitationHeld,
    /// The platform's address of its configuration is missing or no address.
    #[error("The platform did not name the address of its configuration (openid_configuration).")]
    ConfigurationUrl,
    /// An address may not be used; says which and what was expected.
    #[error("An address of the platform may not be used: {0}.")]
    Address(String),
    /// The registration token is too long or no plain text.
    #[error("The platform's registration token is too long or not plain text.")]
    Token,
    /// The platform gave no answer that could be read.
    #[error("The platform gave no usable answer: {0}.")]
    Unreachable(String),
    /// The configuration was answered by another status than 200.
    #[error(
        "The platform answered with status {0} instead of its configuration; redirects are not followed."
    )]
    Status(u16),
    /// The configuration is not what the standard asks for; says where and what was expected.
    #[error("The platform's configuration does not fit: {0}.")]
    Configuration(String),
    /// The issuer's host is not the configuration's.
    #[error("The platform's issuer is on another host than its configuration.")]
    IssuerHost,
    /// The form is not one of ours, or too old.
    #[error("The form was not made by this service, or is too old.")]
    Offer,
    /// The platform declines our record; says why.
    #[error("The platform declined: {0}.")]
    Declined(String),
    /// The platform's reply is not what the standard asks for; says where and what was expected.
    #[error("The platform's reply does not fit: {0}.")]
    Reply(String),
    /// Issuer and client id are registered already.
    #[error("The platform is registered here already under the client id that it gave.")]
    Known,
}

impl RegistrationProblem {
    /// The stable name.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Request => "request",
            Self::InvitationMissing => "invitation_missing",
            Self::InvitationUnknown => "invitation_unknown",
            Self::InvitationUsed => "invitation_used",
            Self::InvitationExpired => "invitation_expired",
            Self::InvitationRevoked => "invitation_revoked",
            Self::InvitationHeld => "invitation_held",
            Self::ConfigurationUrl => "configuration_url",
            Self::Address(_) => "address",
            Self::Token => "registration_token",
            Self::Unreachable(_) => "unreachable",
            Self::Status(_) => "configuration_status",
            Self::Configuration(_) => "configuration",
            Self::IssuerHost => "issuer_host",
            Self::Offer => "offer",
            Self::Declined(_) => "declined",
            Self::Reply(_) => "reply",
            Self::Known => "known",
        }
    }

    /// The HTTP status: 400 for what cannot be used as it is, 403 for what is not allowed, 409 for what is in the way.
    pub fn status(&self) -> u16 {
        match self {
            Self::InvitationMissing
            | Self::InvitationUnknown
            | Self::InvitationUsed
            | Self::InvitationExpired
            | Self::InvitationRevoked
            | Self::Offer => 403,
            Self::InvitationHeld | Self::Known => 409,
            _ => 400,
        }
    }

    /// The problem with an invitation that is not open.
    pub fn of(state: &InvitationState) -> Option<Self> {
        Some(match state {
            InvitationState::Open(_) => return None,
            InvitationState::Held => Self::InvitationHeld,
            InvitationState::Used => Self::InvitationUsed,
            InvitationState::Revoked => Self::InvitationRevoked,
            InvitationState::Expired => Self::InvitationExpired,
            InvitationState::Unknown => Self::InvitationUnknown,
        })
    }
}
