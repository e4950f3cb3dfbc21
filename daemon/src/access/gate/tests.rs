//! The whole table of method and role, written out once more by hand.

use std::collections::BTreeSet;

use prost::Message as _;
use uuid::Uuid;

use super::*;

fn caller(role: Role, via: Via) -> Caller {
    Caller { role, via }
}

fn with_certificate(role: Role) -> Caller {
    let via = Via::Certificate {
        device: "some-device".into(),
        enrolment: Uuid::nil(),
    };
    caller(role, via)
}

/// Method; bay, owner and viewer with a certificate; bay, owner and viewer on
/// the Unix socket; before `init`; a user who was not let in.
const TABLE: &str = "
HelloService/Hello              yes yes yes  yes yes yes  yes no
IntakeService/Post              yes yes no   yes yes no   yes no
IntakeService/PostMany          yes yes no   yes yes no   yes no
FloorService/Now                yes yes yes  yes yes yes  yes no
FloorService/Watch              no  yes no   no  yes no   yes no
CatalogueService/GetCatalogue   yes yes yes  yes yes yes  yes no
ReportService/Week              no  yes yes  no  yes yes  yes no
ReportService/Job               no  yes yes  no  yes yes  yes no
ReportService/Odd               no  yes yes  no  yes yes  yes no
ReportService/Why               no  yes yes  no  yes yes  yes no
ReportService/Stock             no  yes yes  no  yes yes  yes no
ReportService/Lot               no  yes yes  no  yes yes  yes no
ReportService/Own               no  yes no   no  yes no   yes no
QuoteService/Suggest            no  yes yes  no  yes yes  yes no
QuoteService/ListQuotes         no  yes yes  no  yes yes  yes no
QuoteService/ShowQuote          no  yes yes  no  yes yes  yes no
QuoteService/Learned            no  yes yes  no  yes yes  yes no
QuoteService/Honesty            no  yes yes  no  yes yes  yes no
QuoteService/Ahead              no  yes yes  no  yes yes  yes no
QuoteService/PastKnown          no  yes no   no  yes no   yes no
ExportService/ExportJobs        no  yes no   no  yes no   yes no
AccessService/Renew             yes yes yes  no  no  no   no  no
AccessService/Enrol             no  no  no   no  yes no   yes no
AccessService/ListDevices       no  yes no   no  yes no   yes no
AccessService/CutOff            no  yes no   no  yes no   yes no
Health/Check                    yes yes yes  yes yes yes  yes no
Health/Watch                    yes yes yes  yes yes yes  yes no
ServerReflection/ServerReflectionInfo  yes yes yes  yes yes yes  yes no
JoinService/Join                no  no  no   no  no  no   no  no
NoSuchService/NoSuchMethod      no  no  no   no  no  no   no  no
";

fn path_of(method: &str) -> String {
    let package = match method.split('/').next() {
        Some("Health") => "grpc.health.v1",
        Some("ServerReflection") => "grpc.reflection.v1",
        _ => "baywright.v1",
    };
    format!("/{package}.{method}")
}

#[test]
fn every_role_may_call_what_the_table_says_and_no_more() {
    let callers = [
        with_certificate(Role::Bay),
        with_certificate(Role::Owner),
        with_certificate(Role::Viewer),
        caller(Role::Bay, Via::User(1_001)),
        caller(Role::Owner, Via::User(0)),
        caller(Role::Viewer, Via::User(1_002)),
        Caller::OPEN,
        Caller::nobody(1_003),
    ];
    let mut checked = 0;
    for line in TABLE.lines().filter(|line| !line.is_empty()) {
        let mut words = line.split_whitespace();
        let path = path_of(words.next().unwrap());
        let expected: Vec<bool> = words.map(|word| word == "yes").collect();
        assert_eq!(expected.len(), callers.len(), "{line}");
        for (caller, expected) in callers.iter().zip(expected) {
            let answer = may_call(caller, &path);
            assert_eq!(answer.is_ok(), expected, "{path} {caller:?}");
            checked += 1;
        }
    }
    assert_eq!(checked, 30 * callers.len());
}

/// A method that somebody adds to a `.proto` is decided on here, or this fails.
#[test]
fn every_method_of_the_contract_is_in_the_table_once() {
    let files = prost_types::FileDescriptorSet::decode(baywright_proto::DESCRIPTORS).unwrap();
    let mut declared = BTreeSet::new();
    for file in &files.file {
        for service in &file.service {
            for method in &service.method {
                let (service, method) = (service.name(), method.name());
                declared.insert(format!("/{}.{service}/{method}", file.package()));
            }
        }
    }
    assert!(
        declared.len() > 20,
        "the descriptors are the whole contract"
    );
    // Served alone, on a port of its own, to whoever has the one-time code.
    declared.remove("/baywright.v1.JoinService/Join");
    let ours = METHODS.iter().map(|(path, _)| (*path).to_owned());
    let ours: Vec<String> = ours.filter(|path| path.starts_with("/baywright")).collect();
    assert_eq!(ours.len(), declared.len());
    assert_eq!(ours.into_iter().collect::<BTreeSet<_>>(), declared);
}
