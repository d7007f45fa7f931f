// Sends a file up to the panel, as it says where. Can be left at any time.

export class Sending {
  // `moved(share)`: 0 to 1, while it goes.
  constructor(link, file, moved) {
    Object.assign(this, { link, file, moved, request: null, left: false });
  }

  // Resolves with {ticket, label}; rejects with an Error in the panel's words.
  async run() {
    const { ticket, path, label } = await this.link.ask("import-send", { name: this.file.name, octets: this.file.size });
    if (!this.left) await this.post(path);
    return { ticket, label };
  }

  post(path) {
    return new Promise((resolve, reject) => {
      const request = new XMLHttpRequest();
      this.request = request;
      request.open("POST", path);
      request.upload.onprogress = (event) => event.lengthComputable && this.moved(event.loaded / event.total);
      request.onload = () => (request.status === 200 ? resolve() : reject(new Error(request.responseText || `The panel has refused it (${request.status}).`)));
      request.onerror = () => reject(new Error("The file did not reach the panel: the line was cut, or the file can no longer be read."));
      request.onabort = () => reject(new Error("It was left."));
      request.send(this.file);
    });
  }

  leave() {
    this.left = true;
    this.request?.abort();
  }
}
