#include "daemon/app/settings_writer.h"

#include <spdlog/spdlog.h>

#include "daemon/app/kept_settings.h"

namespace undersong::app {

void SettingsWriter::known(const live::Settings& configured, const live::Settings& now) {
  kept_ = kept_text(configured, now);
}

void SettingsWriter::keep(const live::Settings& configured, const live::Settings& now) {
  std::string text = kept_text(configured, now);
  if (text == kept_) return;
  kept_ = text;
  to_write_ = std::move(text);
  write();
}

void SettingsWriter::write() {
  if (writing_ || !to_write_) return;
  writing_ = aside_.run([this, text = *to_write_] {
    const auto result = write_kept(text, file_);
    return [this, text, result] {
      writing_ = false;
      written(text, result);
      write();
    };
  });
}

void SettingsWriter::written(const std::string& text, const Result<void>& result) {
  if (to_write_ == text) to_write_.reset();
  if (!result && !std::exchange(failed_, true)) spdlog::warn("{}", result.error().message);
  if (result) failed_ = false;
}

void SettingsWriter::finish() {
  if (to_write_) written(*to_write_, write_kept(*to_write_, file_));
}

}  // namespace undersong::app
