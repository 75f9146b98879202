"use strict";
/* Starts plotly's script, which stands before this as inert text. As a file of its own the browser
   reads it beside the page's work; its first line asks for that in one go. Where such files are
   refused it is read in place. The promise holds once Plotly is there. */
const plotlyStarted = new Promise((started) => {
  const add = (fill) => {
    const script = document.createElement("script");
    fill(script);
    document.body.append(script);
  };
  const text = document.getElementById("plotly").textContent;
  const parts = ["//# allFunctionsCalledOnLoad\n", text];
  const address = URL.createObjectURL(new Blob(parts, { type: "text/javascript" }));
  add((script) => {
    script.onload = started;
    script.onerror = () => {
      add((inPlace) => { inPlace.textContent = text; });
      started();
    };
    script.src = address;
  });
});
