// The connection to the server: says hello, comes back by itself when it is lost.
const FIRST_MS = 250, MOST_MS = 3000;

export class Link {
  /**
   * @param {string} address
   * @param {{open: () => void, away: () => void, event: (e: any) => void}} handlers
   */
  constructor(address, handlers) {
    this.address = address;
    this.handlers = handlers;
    this.wait = FIRST_MS;
    /** @type {WebSocket | null} */
    this.socket = null;
    this.open();
  }

  get ready() {
    return this.socket?.readyState === WebSocket.OPEN;
  }

  open() {
    const socket = new WebSocket(this.address);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    socket.addEventListener("open", () => this.send({ kind: "hello" }));
    socket.addEventListener("message", (message) => {
      const event = JSON.parse(String(message.data));
      if (event.kind === "welcome") {
        this.wait = FIRST_MS;
        this.handlers.open();
      } else {
        this.handlers.event(event);
      }
    });
    socket.addEventListener("close", () => {
      if (this.socket !== socket) return;
      this.handlers.away();
      setTimeout(() => this.open(), this.wait);
      this.wait = Math.min(MOST_MS, this.wait * 1.6);
    });
  }

  /** @param {Record<string, unknown>} message @returns {boolean} whether it went out */
  send(message) {
    if (!this.ready) return false;
    this.socket?.send(JSON.stringify({ v: 1, ...message }));
    return true;
  }

  /** @param {ArrayBuffer} data */
  sendSound(data) {
    this.socket?.send(data);
  }

  /** How much waits in the browser (bytes). */
  get waiting() {
    return this.socket?.bufferedAmount ?? 0;
  }
}
