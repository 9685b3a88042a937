// The connection to the daemon: JSON-RPC over the WebSocket this page came from.
//
// It reconnects by itself. The log is followed without gaps: after a break it asks for the line after the last one it
// has, as long as the store is still the same one.
import { signal } from '@preact/signals';
import type { LogLine, Notifications, Requests, Welcome } from '../protocol';
import { keep_token, kept_token, token_in_address } from './token';

export type Link = 'connecting' | 'open' | 'lost' | 'token';

export class RpcError extends Error {
  constructor(readonly code: number, message: string) {
    super(message);
  }
}

interface Waiting {
  resolve: (value: never) => void;
  reject: (reason: Error) => void;
}

export interface LogPosition {
  store: string;
  first: number;  // the first line asked for; 0 before any
  next: number;   // the next line expected
  missed: number; // lines that did not come although they should have
}

const token_is_wrong = -32000;
const first_wait_ms = 200;
const longest_wait_ms = 4000;

export class Connection {
  readonly link = signal<Link>('connecting');
  readonly welcome = signal<Welcome | null>(null);
  readonly log = signal<LogPosition>({ store: '', first: 0, next: 0, missed: 0 });
  /** The token that this browser kept is no longer accepted. */
  readonly token_refused = signal(false);
  /** How often it was lost and found again. */
  readonly reconnected = signal(0);

  private socket: WebSocket | null = null;
  private waiting = new Map<number, Waiting>();
  private last_id = 0;
  private wait_ms = first_wait_ms;
  private timer = 0;
  private was_open = false;
  private token = '';

  constructor(
    private readonly url: string,
    private readonly hear: <N extends keyof Notifications>(name: N, params: Notifications[N]) => void,
    private readonly on_open: (same_store: boolean) => void,
  ) {}

  start(): void {
    this.token = token_in_address() || kept_token();
    this.connect();
    addEventListener('hashchange', () => {
      const token = token_in_address();  // another code was opened in this tab
      if (token) this.begin_with(token);
    });
    const now = () => this.retry_now();
    addEventListener('online', now);
    document.addEventListener('visibilitychange', () => document.visibilityState === 'visible' && now());
  }

  ask<M extends keyof Requests>(method: M, params: Requests[M]['params']): Promise<Requests[M]['result']> {
    const socket = this.socket;
    if (!socket || socket.readyState !== WebSocket.OPEN)
      return Promise.reject(new RpcError(0, 'Undersong is not connected just now.'));
    const id = ++this.last_id;
    return new Promise((resolve, reject) => {
      this.waiting.set(id, { resolve: resolve as Waiting['resolve'], reject });
      socket.send(JSON.stringify({ jsonrpc: '2.0', id, method, params }));
    });
  }

  async give_token(token: string): Promise<void> {
    this.welcome.value = await this.ask('hello', { client: 'companion', token });
    this.token = token;
    keep_token(token);
    this.token_refused.value = false;
    await this.subscribe();
  }

  private begin_with(token: string): void {
    this.token = token;
    if (this.socket) this.socket.close();
    else this.retry_now();
  }

  private connect(): void {
    clearTimeout(this.timer);
    this.link.value = this.was_open || this.link.value === 'lost' ? 'lost' : 'connecting';
    const socket = new WebSocket(this.url);
    this.socket = socket;
    socket.onmessage = (event) => this.receive(event.data as string);
    socket.onclose = () => {
      if (this.socket !== socket) return;
      this.socket = null;
      for (const each of this.waiting.values()) each.reject(new RpcError(0, 'The connection was lost.'));
      this.waiting.clear();
      this.link.value = 'lost';
      this.timer = window.setTimeout(() => this.connect(), this.wait_ms);
      this.wait_ms = Math.min(longest_wait_ms, this.wait_ms * 1.6);
    };
  }

  private retry_now(): void {
    if (this.socket) return;
    this.wait_ms = first_wait_ms;
    this.connect();
  }

  private receive(text: string): void {
    const message = JSON.parse(text) as {
      id?: number;
      method?: keyof Notifications;
      params?: never;
      result?: never;
      error?: { code: number; message: string };
    };
    if (message.method === undefined) {
      const waiting = this.waiting.get(message.id ?? -1);
      if (!waiting) return;
      this.waiting.delete(message.id ?? -1);
      if (message.error) waiting.reject(new RpcError(message.error.code, message.error.message));
      else waiting.resolve(message.result as never);
      return;
    }
    if (message.method === 'welcome') void this.greeted(message.params as unknown as Welcome);
    else if (message.method === 'log') this.line(message.params as unknown as LogLine);
    else this.hear(message.method, message.params as never);
  }

  private async greeted(welcome: Welcome): Promise<void> {
    this.welcome.value = welcome;
    try {
      if (!welcome.token_needed) return await this.subscribe();
      if (this.token) return await this.give_token(this.token);
    } catch (error) {
      // Who must wait after wrong tokens of others tries again; the token may be right.
      if (!(error instanceof RpcError) || error.code !== token_is_wrong) return this.socket?.close();
      this.token = '';
      keep_token('');
      this.token_refused.value = true;
    }
    if (this.socket) this.link.value = 'token';
  }

  private async subscribe(): Promise<void> {
    const { store, next } = this.log.peek();
    const topics = ['moment', 'status', 'log'] as ('moment' | 'status' | 'log')[];
    let got = await this.ask('subscribe', next > 0 ? { topics, log_from: next } : { topics });
    const same = store === '' || store === got.store;
    if (!same && next > 0) {
      // Another store: our number means another line there.
      await this.ask('unsubscribe', { topics: ['log'] });
      got = await this.ask('subscribe', { topics: ['log'] });
    }
    if (!same || next === 0) this.log.value = { store: got.store, first: got.log_next, next: got.log_next, missed: 0 };
    if (this.was_open) this.reconnected.value++;
    this.was_open = true;
    this.wait_ms = first_wait_ms;
    this.link.value = 'open';
    this.on_open(same);
  }

  private line(line: LogLine): void {
    const position = this.log.peek();
    if (position.next > 0 && line.number < position.next) return;  // seen already
    const missed = position.next > 0 ? line.number - position.next : 0;
    this.log.value = {
      ...position,
      first: position.first || line.number,
      next: line.number + 1,
      missed: position.missed + missed,
    };
    this.hear('log', line);
  }
}
