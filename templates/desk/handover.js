"use strict";
// Hands the link over: share sheet and copy where the phone has them; looks again while papers are being written.

const share = document.getElementById("share");
if (share && navigator.share) {
  share.hidden = false;
  share.addEventListener("click", () => {
    navigator.share({ url: share.dataset.url, title: share.dataset.title }).catch(() => {}); // they chose not to
  });
}

const copy = document.getElementById("copy");
if (copy && navigator.clipboard) {
  copy.hidden = false;
  copy.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(copy.dataset.url);
      copy.textContent = copy.dataset.copied;
    } catch { // not allowed: the address is there to be copied by hand
      getSelection().selectAllChildren(document.querySelector(".address a"));
    }
  });
}

if (document.querySelector("[data-writing]")) setTimeout(() => location.reload(), 4000);
