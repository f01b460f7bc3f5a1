//! QTI 2.1: what only this version says (ASI 2.1.2, content packaging of QTI 2.1).
use super::{
    dialect::{Dialect, PackageDialect, Spelling},
    write::SCHEMA_INSTANCE,
};

/// The dialect of QTI 2.1. It has no metadata of curriculum standards: codes stand in the general metadata alone.
pub const DIALECT: Dialect = Dialect {
    spelling: Spelling::Camel,
    namespace: "http://www.imsglobal.org/xsd/imsqti_v2p1",
    root: [
        ("xmlns", "http://www.imsglobal.org/xsd/imsqti_v2p1"),
        ("xmlns:xsi", SCHEMA_INSTANCE),
        (
            "xsi:schemaLocation",
            "http://www.imsglobal.org/xsd/imsqti_v2p1 http://www.imsglobal.org/xsd/qti/qtiv2p1/imsqti_v2p1p2.xsd",
        ),
    ],
    content_body: false,
    aria: false,
    catalog: false,
    package: PackageDialect {
        namespace: "http://www.imsglobal.org/xsd/imscp_v1p1",
        schema_location: "http://www.imsglobal.org/xsd/imscp_v1p1 http://www.imsglobal.org/xsd/qti/qtiv2p1/qtiv2p1_imscpv1p2_v1p0.xsd",
        schema_name: "QTIv2.1 Package",
        schema_version: "1.0.0",
        metadata_namespace: "http://www.imsglobal.org/xsd/imsqti_metadata_v2p1",
        scoring_mode: false,
        curriculum_namespace: None,
        case_item_uri: false,
        item_type: "imsqti_item_xmlv2p1",
        test_type: "imsqti_test_xmlv2p1",
        metadata_scheme: "QTIv2.1",
    },
};
