// The functions that answer requests, one for each request of the protocol, grouped by the file they are in.
// A request without a function does not compile (methods.cpp).
//
// Threads: the io thread. A function may keep it for at most a millisecond. Longer work goes to other
// threads: see answer_aside.h and songs.h.
// Errors: one sentence, passed to `to`. methods.cpp answers for a function that throws.
#pragma once

#include "daemon/server/rpc.h"
#include "protocol/messages.h"

namespace undersong::server {

class Session;

// A Reply that accepts only the type of answer that the request has.
template <class T>
struct To {
  Reply reply;
  void operator()(const T& value) const { reply.result(protocol::to_json(value)); }
  void operator()(const Error& error) const { reply.error(error); }
};

// connection_methods.cpp
void answer(Session& session, const protocol::Hello& wish, To<protocol::Welcome> to);
void answer(Session& session, const protocol::Subscribe& wish, To<protocol::Subscribed> to);
void answer(Session& session, const protocol::Unsubscribe& wish, To<protocol::Subscribed> to);
void answer(Session& session, const protocol::GetMoment& wish, To<protocol::Moment> to);
void answer(Session& session, const protocol::GetStatus& wish, To<protocol::Status> to);
void answer(Session& session, const protocol::GetPlaces& wish, To<protocol::Places> to);
// store_methods.cpp
void answer(Session& session, const protocol::BackUpTakes& wish, To<protocol::BackedUp> to);
void answer(Session& session, const protocol::RestoreTakes& wish, To<protocol::BroughtBack> to);
// bring_methods.cpp
void answer(Session& session, const protocol::BringTake& wish, To<protocol::BroughtTake> to);
// device_methods.cpp
void answer(Session& session, const protocol::OpenDevices& wish, To<protocol::DeviceList> to);
void answer(Session& session, const protocol::PairDevice& wish, To<protocol::PairingCode> to);
void answer(Session& session, const protocol::ListDevices& wish, To<protocol::DeviceList> to);
void answer(Session& session, const protocol::RevokeDevice& wish, To<protocol::DeviceList> to);
// take_methods.cpp
void answer(Session& session, const protocol::ListTakes& wish, To<protocol::TakeList> to);
void answer(Session& session, const protocol::GetTake& wish, To<protocol::TakeDetail> to);
void answer(Session& session, const protocol::FindMoments& wish, To<protocol::FoundMoments> to);
void answer(Session& session, const protocol::FindPlayed& wish, To<protocol::FoundTakes> to);
void answer(Session& session, const protocol::GetMeetings& wish, To<protocol::TakeMeetings> to);
void answer(Session& session, const protocol::GetSimilar& wish, To<protocol::SimilarTakes> to);
void answer(Session& session, const protocol::GetPicture& wish, To<protocol::TakePicture> to);
void answer(Session& session, const protocol::GetDigest& wish, To<protocol::Digest> to);
void answer(Session& session, const protocol::GetEvents& wish, To<protocol::TakeLines> to);
void answer(Session& session, const protocol::GetNotes& wish, To<protocol::TakeNotes> to);
void answer(Session& session, const protocol::GetThumbnail& wish, To<protocol::TakeThumbnail> to);
void answer(Session& session, const protocol::GetPasses& wish, To<protocol::TakePasses> to);
void answer(Session& session, const protocol::ExportTake& wish, To<protocol::ExportedTake> to);
// take_edit_methods.cpp
void answer(Session& session, const protocol::MarkTake& wish, To<protocol::Kept> to);
void answer(Session& session, const protocol::UnmarkTake& wish, To<protocol::Kept> to);
void answer(Session& session, const protocol::JudgeMoment& wish, To<protocol::Kept> to);
void answer(Session& session, const protocol::EndTake& wish, To<protocol::Kept> to);
void answer(Session& session, const protocol::RenameTake& wish, To<protocol::Kept> to);
void answer(Session& session, const protocol::AnnotateTake& wish, To<protocol::Kept> to);
void answer(Session& session, const protocol::CorrectTake& wish, To<protocol::Kept> to);
void answer(Session& session, const protocol::DeleteTake& wish, To<protocol::Kept> to);
void answer(Session& session, const protocol::RestoreTake& wish, To<protocol::Kept> to);
// beat_methods.cpp
void answer(Session& session, const protocol::TapBeat& wish, To<protocol::Tapped> to);
void answer(Session& session, const protocol::CorrectBeat& wish, To<protocol::Corrected> to);
void answer(Session& session, const protocol::GetBeats& wish, To<protocol::TakeBeats> to);
void answer(Session& session, const protocol::GetStudyProgress& wish, To<protocol::StudyProgress> to);
void answer(Session& session, const protocol::CancelStudy& wish, To<protocol::StudyCancelled> to);
// playing_methods.cpp
void answer(Session& session, const protocol::Hear& wish, To<protocol::Heard> to);
void answer(Session& session, const protocol::PlayTake& wish, To<protocol::Playing> to);
void answer(Session& session, const protocol::PlayAlong& wish, To<protocol::Playing> to);
void answer(Session& session, const protocol::StopPlaying& wish, To<protocol::Stopped> to);
void answer(Session& session, const protocol::Hold& wish, To<protocol::Holding> to);
void answer(Session& session, const protocol::SendNotes& wish, To<protocol::Accepted> to);
// chord_methods.cpp
void answer(Session& session, const protocol::SpellPitches& wish, To<protocol::SpelledPitches> to);
void answer(Session& session, const protocol::VoiceChord& wish, To<protocol::ChordVoicings> to);
void answer(Session& session, const protocol::GetChordParts& wish, To<protocol::ChordParts> to);
// settings_methods.cpp
void answer(Session& session, const protocol::GetSettings& wish, To<protocol::Settings> to);
void answer(Session& session, const protocol::SetSettings& wish, To<protocol::Settings> to);
void answer(Session& session, const protocol::ResetSettings& wish, To<protocol::Settings> to);
void answer(Session& session, const protocol::LearnControl& wish, To<protocol::LearntControl> to);
// idiom_methods.cpp
void answer(Session& session, const protocol::GetIdiom& wish, To<protocol::OwnIdiom> to);
void answer(Session& session, const protocol::EraseIdiom& wish, To<protocol::OwnIdiom> to);
// song_methods.cpp
void answer(Session& session, const protocol::GetLoop& wish, To<protocol::TakeLoop> to);
void answer(Session& session, const protocol::Reharmonise& wish, To<protocol::Reharmonised> to);
void answer(Session& session, const protocol::HandOverTake& wish, To<protocol::HandedOver> to);
void answer(Session& session, const protocol::ProposeSketch& wish, To<protocol::SongSketch> to);
void answer(Session& session, const protocol::PutSketch& wish, To<protocol::KeptSketch> to);
void answer(Session& session, const protocol::GetKeptSketch& wish, To<protocol::KeptSketch> to);
void answer(Session& session, const protocol::ListSketches& wish, To<protocol::SketchList> to);
void answer(Session& session, const protocol::PlaySketch& wish, To<protocol::Playing> to);
void answer(Session& session, const protocol::OutlineSketch& wish, To<protocol::SketchOutline> to);
void answer(Session& session, const protocol::HandOverSketch& wish, To<protocol::HandedOver> to);
void answer(Session& session, const protocol::DeleteSketch& wish, To<protocol::SketchName> to);
void answer(Session& session, const protocol::GrowSketch& wish, To<protocol::GrownSketch> to);

}  // namespace undersong::server
