import { notice } from '../state';

export function NoticeBar() {
  const now = notice.value;
  return (
    <div class="notice-place" role="alert">
      {now && (
        <div class="notice">
          <span>{now.text}</span>
          {now.action && (
            <button type="button" class="quiet" onClick={() => { now.action!.run(); notice.value = null; }}>{now.action.label}</button>
          )}
        </div>
      )}
    </div>
  );
}
