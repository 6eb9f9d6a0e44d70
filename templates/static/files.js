// Says how a month's file is coming along, and how it compares. Without it the browser
// just downloads the file.
"use strict";
(() => {
  for (const form of document.querySelectorAll("[data-files]")) {
    const status = form.querySelector("[role=status]");
    const buttons = [...form.querySelectorAll("button")];

    form.addEventListener("submit", async (event) => {
      const what = event.submitter;
      if (!what) return;
      event.preventDefault();
      const sent = new URLSearchParams(new FormData(form, what));
      const begun = Date.now();
      const tell = () => {
        const seconds = Math.round((Date.now() - begun) / 1000);
        status.textContent = `${what.textContent}: being written, ${seconds} s`;
      };
      tell();
      const timer = setInterval(tell, 1000);
      for (const button of buttons) button.disabled = true;
      try {
        const answer = await fetch(form.action, { method: "POST", body: sent });
        if (!answer.ok) throw new Error(answer.status);
        const name = /filename="([^"]+)"/.exec(answer.headers.get("Content-Disposition"))[1];
        const link = document.createElement("a");
        link.href = URL.createObjectURL(await answer.blob());
        link.download = name;
        link.click();
        setTimeout(() => URL.revokeObjectURL(link.href), 60000);
        const said = decodeURIComponent(answer.headers.get("X-Compared") || "");
        status.textContent = `${name} is written, ${said}.`;
      } catch {
        status.textContent = `${what.textContent} was not written. Try again, or reload the page.`;
      }
      clearInterval(timer);
      for (const button of buttons) button.disabled = false;
      what.focus();
    });
  }
})();
