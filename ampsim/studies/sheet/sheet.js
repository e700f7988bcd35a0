(() => {
  "use strict";
  const folds = [...document.querySelectorAll("details")];
  const everything = document.getElementById("everything");
  const unfold = () => {
    const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    for (let each = target; each; each = each.parentElement) {
      if (each.tagName === "DETAILS") each.open = true;
    }
    if (target) target.scrollIntoView();
  };
  everything.closest(".unfold").hidden = false;
  everything.addEventListener("change", () => folds.forEach((each) => { each.open = everything.checked; }));
  window.addEventListener("hashchange", unfold);
  unfold();
})();
