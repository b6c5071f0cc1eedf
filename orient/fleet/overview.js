// Lists only the parts whose name holds what is typed; a link to a group opens it.
const sought = document.getElementById("sought");
sought.addEventListener("input", () => {
  const word = sought.value.trim().toLowerCase();
  for (const group of document.querySelectorAll("details")) {
    let any = false;
    for (const row of group.querySelectorAll("tbody tr")) {
      const holds = row.firstElementChild.textContent.toLowerCase().includes(word);
      row.hidden = !holds;
      any ||= holds;
    }
    if (word) group.open = any;
  }
});
function reveal() {
  const named = location.hash && document.getElementById(location.hash.slice(1));
  if (named && named.tagName === "DETAILS") named.open = true;
}
addEventListener("hashchange", reveal);
reveal();
