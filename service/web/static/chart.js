"use strict";
// A chart that is a picture first: who points at it, or asks, gets one whose days say what they were.

(() => {
  const picture = document.querySelector("img.chart");
  const ask = document.getElementById("point");
  const words = ask.dataset;
  const line = ask.parentElement;

  async function bring() {
    picture.removeEventListener("pointerenter", bring);
    ask.disabled = true;
    try {
      const night = matchMedia("(prefers-color-scheme: dark)").matches ? "&night=true" : "";
      const [answer] = await Promise.all([fetch(words.chart + night), import(words.engine)]);
      if (!answer.ok) throw new Error(answer.statusText);
      const { specification, timeFormatLocale } = await answer.json();
      const plot = document.createElement("div");
      plot.className = "chart";
      await vegaEmbed(plot, specification, {
        actions: false,
        ast: true, // else expressions are compiled, which the page forbids
        defaultStyle: false,
        renderer: "svg",
        timeFormatLocale,
        tooltip: (_handler, _event, _item, said) => {
          line.textContent = said || words.hint;
        },
      });
      plot.setAttribute("role", "img");
      plot.setAttribute("aria-label", picture.alt);
      picture.replaceWith(plot);
      line.className = "fresh said";
      line.setAttribute("role", "status");
      line.textContent = words.hint;
    } catch {
      ask.disabled = false; // the picture stays
    }
  }

  ask.hidden = false;
  ask.addEventListener("click", bring);
  picture.addEventListener("pointerenter", bring);
})();
