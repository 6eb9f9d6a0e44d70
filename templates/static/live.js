// Prices the call while one types, and finds while one types. The page works without it.
"use strict";
(() => {
  const WAIT = 120;

  for (const form of document.querySelectorAll("[data-live-form]")) {
    let timer = 0;
    let asked = 0;

    const ask = async () => {
      const mine = ++asked;
      const get = form.getAttribute("method") === "get";
      const sent = new URLSearchParams(new FormData(form));
      const address = get
        ? form.getAttribute("action") + "?" + sent
        : form.getAttribute("action");
      try {
        const answer = await fetch(address, {
          method: get ? "GET" : "POST",
          body: get ? null : sent,
          headers: { "X-Live": "1" },
          credentials: "same-origin",
          redirect: "error",
        });
        if (!answer.ok || mine !== asked) return;
        put(await answer.text());
        if (form.dataset.then) await then(sent, mine);
      } catch {
        // The button prices it as well.
      }
    };

    const then = async (sent, mine) => {
      const late = form.querySelector('[data-live="range"]');
      if (late) late.setAttribute("aria-busy", "true");
      const answer = await fetch(form.dataset.then, {
        method: "POST",
        body: sent,
        headers: { "X-Live": "1" },
        credentials: "same-origin",
        redirect: "error",
      });
      if (answer.ok && mine === asked) put(await answer.text());
    };

    const put = (text) => {
      const parts = new DOMParser().parseFromString(text, "text/html");
      for (const part of parts.querySelectorAll("[data-live]")) {
        const old = form.querySelector(`[data-live="${part.dataset.live}"]`)
          || document.querySelector(`[data-live="${part.dataset.live}"]`);
        if (!old) continue;
        const held = old.contains(document.activeElement) ? document.activeElement : null;
        const name = held && held.name;
        const place = held && held.dataset.position;
        const value = held && held.value;
        const end = held && held.selectionEnd;
        const open = [...old.querySelectorAll("details[open] > summary")].map((s) => s.textContent);
        old.replaceWith(part);
        for (const summary of part.querySelectorAll("details > summary")) {
          if (open.includes(summary.textContent)) summary.parentElement.open = true;
        }
        if (place) {
          const valve = part.querySelector(`[data-position="${CSS.escape(place)}"]`);
          if (valve) valve.focus();
        }
        if (!name) continue;
        const again = [...part.querySelectorAll(`[name="${CSS.escape(name)}"]`)]
          .find((one) => one.type === "text" || one.tagName === "SELECT" || one.value === value);
        if (!again) continue;
        again.focus();
        if (end != null && again.setSelectionRange) {
          again.value = value;
          again.setSelectionRange(end, end);
        }
      }
    };

    // An answer under way knows nothing of this change and would undo it.
    const soon = () => {
      asked += 1;
      clearTimeout(timer);
      timer = setTimeout(ask, WAIT);
    };

    form.addEventListener("input", soon);
    form.addEventListener("change", soon);
    form.addEventListener("keydown", (event) => {
      const save = form.dataset.save && document.getElementById(form.dataset.save);
      if (event.key === "Enter" && event.ctrlKey && save) {
        event.preventDefault();
        save.click();
      } else if (event.key === "Enter" && event.target.tagName === "INPUT" && save) {
        event.preventDefault();
        clearTimeout(timer);
        ask();
      } else if (event.altKey && /^[1-9]$/.test(event.key)) {
        const choice = form.querySelector(`.candidate[data-key="${event.key}"]`);
        if (choice) {
          event.preventDefault();
          choice.click();
        }
      }
    });
  }

  const touch = (valve) => {
    const place = valve.dataset.position;
    const box = document.querySelector(`[name="at"][value="${CSS.escape(place)}"]`);
    if (!box) return;
    box.checked = !box.checked;
    valve.setAttribute("aria-checked", String(box.checked));
    const around = box.closest("details");
    if (around) around.open = true;
    box.dispatchEvent(new Event("change", { bubbles: true }));
  };

  document.addEventListener("click", (event) => {
    const valve = event.target.closest("[role=checkbox][data-position]");
    if (valve) touch(valve);
  });

  document.addEventListener("keydown", (event) => {
    const valve = event.target.closest && event.target.closest("[role=checkbox][data-position]");
    if (valve && (event.key === " " || event.key === "Enter")) {
      event.preventDefault();
      touch(valve);
      return;
    }
    if (event.target.closest("input, textarea, select") || event.ctrlKey || event.altKey || event.metaKey) return;
    if (document.body.dataset.shortcuts === "off") return;
    const field = document.querySelector(`[data-key="${CSS.escape(event.key)}"]`);
    if (field) {
      event.preventDefault();
      field.focus();
    }
  });
})();
